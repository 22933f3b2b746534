"""The Merkle tree against published vectors (RFC 6962 and 9162, and two public implementations'
own test data; the sources stand in tests/data/merkle_vectors.json) and against a plain definition.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.merkle import EMPTY, Frontier, Tree, consistent, included, leaf, node

VECTORS: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "merkle_vectors.json").read_text("utf-8")
)
EIGHT = VECTORS["eight_leaf_tree"]
THOUSAND = VECTORS["own_thousand_leaf_tree"]


def tree(count: int, kind: str = "event") -> Tree:
    return Tree(b"".join(leaf(f"{kind}-{n}".encode()) for n in range(count)))


def eight() -> Tree:
    return Tree(b"".join(leaf(bytes.fromhex(one)) for one in EIGHT["leaves_hex"]))


def unhexed(proof: Sequence[str]) -> tuple[bytes, ...]:
    return tuple(bytes.fromhex(step) for step in proof)


@pytest.mark.parametrize("one", VECTORS["hashes"], ids=lambda one: one["what"])
def test_published_hashes_come_out(one: dict[str, str]) -> None:
    if one["kind"] == "node":
        found = node(bytes.fromhex(one["left_hex"]), bytes.fromhex(one["right_hex"]))
    elif one["kind"] == "empty":
        found = EMPTY
    else:
        found = leaf(bytes.fromhex(one["input_hex"]))
    assert found.hex() == one["sha256"]


def test_what_must_differ_differs() -> None:
    left, right = leaf(b"a"), leaf(b"b")
    assert len(VECTORS["must_differ"]) == 3
    assert leaf(left + right) != node(left, right)
    assert node(left, right) != node(right, left)
    assert leaf(b"") != EMPTY


def test_the_eight_leaf_tree_has_the_published_leaves_roots_and_proofs() -> None:
    whole = eight()
    assert [whole.leaf(n).hex() for n in range(8)] == EIGHT["leaf_hashes"]
    for size, root in EIGHT["roots_by_size"].items():
        assert whole.root(int(size)).hex() == root
    for one in EIGHT["all_inclusion_proofs"]:
        index, size, proof = one["leaf_index"], one["tree_size"], unhexed(one["proof"])
        assert whole.inclusion(index, size) == proof
        assert included(index, size, whole.leaf(index), proof, whole.root(size))
    for one in EIGHT["all_consistency_proofs"]:
        first, second, proof = one["size1"], one["size2"], unhexed(one["proof"])
        assert whole.consistency(first, second) == proof
        assert consistent(first, second, whole.root(first), whole.root(second), proof)
    assert (len(EIGHT["all_inclusion_proofs"]), len(EIGHT["all_consistency_proofs"])) == (36, 36)


def test_proofs_of_seven_leaves_have_the_published_lengths() -> None:
    whole, shape = tree(7), VECTORS["seven_leaf_shape"]
    lengths = {str(n): len(whole.inclusion(n)) for n in range(7)}
    assert lengths == shape["inclusion_path_lengths"]
    steps = {str(n): len(whole.consistency(n)) for n in range(1, 8)}
    assert steps == shape["consistency_lengths"]


@pytest.mark.parametrize("one", VECTORS["probes_inclusion"]["items"], ids=lambda one: one["id"])
def test_published_inclusion_probes_are_answered_strictly(one: dict[str, Any]) -> None:
    hashes = bytes.fromhex(one["leaf_hash"]), unhexed(one["proof"]), bytes.fromhex(one["root"])
    assert included(one["leaf_index"], one["tree_size"], *hashes) is one["strict_valid"]


@pytest.mark.parametrize("one", VECTORS["probes_consistency"]["items"], ids=lambda one: one["id"])
def test_published_consistency_probes_are_answered_strictly(one: dict[str, Any]) -> None:
    roots = bytes.fromhex(one["root1"]), bytes.fromhex(one["root2"])
    found = consistent(one["size1"], one["size2"], *roots, unhexed(one["proof"]))
    assert found is one["strict_valid"]


def test_the_thousand_leaf_tree_has_the_computed_roots_and_proofs() -> None:
    whole = tree(1_000)
    for size, root in THOUSAND["roots"].items():
        assert whole.root(int(size)).hex() == root
    for one in THOUSAND["inclusion"]:
        assert whole.inclusion(one["leaf_index"], one["tree_size"]) == unhexed(one["proof"])
    for one in THOUSAND["consistency"]:
        assert whole.consistency(one["size1"], one["size2"]) == unhexed(one["proof"])


def defined_root(leaves: Sequence[bytes]) -> bytes:
    """The root as RFC 6962 section 2.1 defines it, by recursion over the leaves' hashes."""
    if not leaves:
        return sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    split = 1
    while split * 2 < len(leaves):
        split *= 2
    left, right = defined_root(leaves[:split]), defined_root(leaves[split:])
    return sha256(b"\x01" + left + right).digest()


@pytest.mark.parametrize("size", [0, 1, 2, 3, 5, 31, 32, 33, 100, 257])
def test_tree_and_frontier_have_the_root_that_the_definition_gives(size: int) -> None:
    leaves = [leaf(str(n).encode()) for n in range(size)]
    frontier = Frontier()
    for one in leaves:
        frontier.add(one)
    expected = defined_root(leaves)
    assert Tree(b"".join(leaves)).root() == expected == frontier.root()
    assert (frontier.size, len(frontier.peaks)) == (size, size.bit_count())
    assert Frontier(size, frontier.peaks).root() == expected


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_every_proof_holds_and_no_changed_one_does(data: st.DataObject) -> None:
    size = data.draw(st.integers(1, 130))
    whole = tree(size, kind="any")
    index, first = data.draw(st.integers(0, size - 1)), data.draw(st.integers(1, size))
    path, steps = whole.inclusion(index), whole.consistency(first)
    root, before = whole.root(), whole.root(first)
    assert included(index, size, whole.leaf(index), path, root)
    assert consistent(first, size, before, root, steps)
    flipped = bytes([root[0] ^ data.draw(st.integers(1, 255))]) + root[1:]
    assert not included(index, size, whole.leaf(index), path, flipped)
    assert not consistent(first, size, before, flipped, steps)
    other = data.draw(st.integers(0, size - 1).filter(lambda n: size == 1 or n != index))
    if other != index:
        assert not included(other, size, whole.leaf(index), path, root)

    def path_holds(proof: tuple[bytes, ...]) -> bool:
        return included(index, size, whole.leaf(index), proof, root)

    def steps_hold(proof: tuple[bytes, ...]) -> bool:
        return consistent(first, size, before, root, proof)

    for proof, holds in ((path, path_holds), (steps, steps_hold)):
        assert not holds((*proof, leaf(b"more")))
        if proof:
            at = data.draw(st.integers(0, len(proof) - 1))
            assert not holds(proof[:-1])
            assert not holds((*proof[:at], leaf(b"else"), *proof[at + 1 :]))


def test_a_wrong_index_is_never_accepted_but_a_wrong_size_can_be() -> None:
    # Why size and root are taken together from a checkpoint, never from the bearer of a proof.
    limits = VECTORS["measured_limits"]
    for index, size, claimed in limits["examples_index_size_claimed"]:
        whole = tree(size)
        path = whole.inclusion(index)
        assert included(index, claimed, whole.leaf(index), path, whole.root())
    tried = wrong = 0
    for size in range(1, 21):
        whole = tree(size)
        for index in range(size):
            for other in range(size):
                if other != index:
                    tried += 1
                    path = whole.inclusion(index)
                    wrong += included(other, size, whole.leaf(index), path, whole.root())
    assert (wrong, tried) == (limits["wrong_index_accepted"], limits["wrong_index_tried"])


@pytest.mark.parametrize(
    ("size", "peaks"), [(-1, []), (1, []), (2, [b"x" * 32] * 2), (1, [b"short"]), (0, [b"x" * 32])]
)
def test_an_edge_that_is_none_is_refused(size: int, peaks: list[bytes]) -> None:
    with pytest.raises(ValueError, match="edge of a tree"):
        Frontier(size, peaks)


def test_questions_beyond_the_tree_are_refused() -> None:
    whole = tree(5)
    for ask in (
        lambda: whole.leaf(5),
        lambda: whole.leaf(-1),
        lambda: whole.root(6),
        lambda: whole.root(-1),
        lambda: whole.inclusion(5),
        lambda: whole.inclusion(3, 3),
        lambda: whole.inclusion(-1),
        lambda: whole.consistency(0),
        lambda: whole.consistency(4, 3),
        lambda: whole.consistency(4, 6),
        lambda: Tree(b"x" * 33),
    ):
        with pytest.raises(ValueError, match=r"leaves|hashes"):
            ask()
