"""The file of credentials: hashed, its owner's alone, replaced whole or not at all."""

from __future__ import annotations

import json
import multiprocessing
import os
import stat
from pathlib import Path

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.profiles import RFC_9106_LOW_MEMORY

from checklist.credential import Cost, CredentialFault, CredentialFile, unfit
from tests.people import CHEAP, set_pins

PIN = "seven grey gulls"


def none() -> None:
    """Nothing happens between."""


def kept(folder: Path, pin: str = PIN) -> CredentialFile:
    keeper = CredentialFile(folder / "credentials.json", CHEAP)
    keeper.keep("RN-12", pin, given=False, between=none)
    return keeper


def test_a_pin_fits_itself_and_nothing_else(tmp_path: Path) -> None:
    keeper = kept(tmp_path)
    assert keeper.fits("RN-12", PIN)
    for other in ("", PIN[:-1], PIN + " ", PIN.upper(), PIN * 20, "\udcff", "\x00"):
        assert not keeper.fits("RN-12", other)
    assert not keeper.fits("RN-27", PIN)
    assert keeper.has("RN-12") and not keeper.has("RN-27") and not keeper.is_empty


def test_the_file_holds_a_salted_argon2id_hash_and_no_pin(tmp_path: Path) -> None:
    """A library's own parser reads it; RFC 9106 names the algorithm and these parameters."""
    keeper = kept(tmp_path)
    keeper.keep("RN-27", PIN, given=True, between=none)
    text = keeper.path.read_text()
    assert PIN not in text
    stored = {code: one["pin"] for code, one in json.loads(text)["people"].items()}
    assert stored["RN-12"] != stored["RN-27"]
    assert PasswordHasher().verify(stored["RN-12"], PIN)
    asked = extract_parameters(stored["RN-12"])
    assert (asked.type.name, asked.version) == ("ID", 19)
    shipped = Cost()
    low = RFC_9106_LOW_MEMORY
    assert (shipped.passes, shipped.memory, shipped.lanes) == (
        low.time_cost, low.memory_cost, low.parallelism,
    )  # fmt: skip


@pytest.mark.skipif(os.name != "posix", reason="modes are those of POSIX")
def test_the_file_is_its_owners_alone_and_refused_when_it_is_not(tmp_path: Path) -> None:
    keeper = kept(tmp_path)
    assert stat.S_IMODE(keeper.path.stat().st_mode) == 0o600
    for mode in (0o640, 0o604, 0o620, 0o602, 0o610):
        keeper.path.chmod(mode)
        with pytest.raises(CredentialFault, match="chmod 600"):
            keeper.fits("RN-12", PIN)
        with pytest.raises(CredentialFault, match="chmod 600"):
            keeper.has("RN-12")


GOOD = '{"form": 1, "people": {"RN-12": {"given": false, "pin": "%s"}}}'
SPOILT = [
    "",
    "not JSON",
    "[]",
    "{" * 5_000,
    '{"form": 1}',
    '{"form": 2, "people": {}}',
    '{"form": 1, "people": []}',
    '{"form": 1, "people": {"RN-12": "123456"}}',
    '{"form": 1, "people": {"RN-12": {"pin": "123456", "given": false}}}',
    '{"form": 1, "people": {"RN-12": {"pin": "x"}}}',
    GOOD % "$argon2id$v=19$m=8,t=1,p=1$",
    GOOD % "$argon2id$v=19$m=99999999,t=1,p=1$c29tZXNhbHQ$c29tZWhhc2g",
    GOOD % "$argon2id$v=19$m=8,t=99999999,p=1$c29tZXNhbHQ$c29tZWhhc2g",
    "\x00" * 2_000_000,
]


@pytest.mark.parametrize("text", SPOILT, ids=range(len(SPOILT)))
def test_a_spoilt_file_lets_nobody_in(text: str, tmp_path: Path) -> None:
    keeper = kept(tmp_path)
    keeper.path.write_text(text)
    with pytest.raises(CredentialFault):
        keeper.fits("RN-12", PIN)
    with pytest.raises(CredentialFault):
        keeper.keep("RN-27", PIN, given=False, between=none)
    assert keeper.path.read_text() == text


def test_a_link_or_folder_in_its_place_is_not_followed(tmp_path: Path) -> None:
    keeper = kept(tmp_path)
    real = tmp_path / "elsewhere.json"
    keeper.path.rename(real)
    keeper.path.symlink_to(real)
    with pytest.raises(CredentialFault):
        keeper.fits("RN-12", PIN)
    keeper.path.unlink()
    keeper.path.mkdir()
    with pytest.raises(CredentialFault):
        keeper.fits("RN-12", PIN)


def test_what_fails_in_between_leaves_the_old_pin_and_no_trace(tmp_path: Path) -> None:
    keeper = kept(tmp_path)
    before = keeper.path.read_bytes()

    def fails() -> None:
        new = keeper.path.with_name(f".{keeper.path.name}.new")
        assert b"argon2id" in new.read_bytes()  # it is written before anything is recorded
        raise RuntimeError("the trail is full")

    with pytest.raises(RuntimeError):
        keeper.keep("RN-12", "another one", given=False, between=fails)
    assert keeper.path.read_bytes() == before and keeper.fits("RN-12", PIN)
    assert not list(tmp_path.glob(".*.new"))


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root writes anywhere")
def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    keeper = kept(tmp_path)
    tmp_path.chmod(0o500)
    with pytest.raises(CredentialFault, match="cannot be written"):
        keeper.keep("RN-12", "another one", given=False, between=none)
    tmp_path.chmod(0o700)


def _one_of_many(path: Path, code: str) -> None:
    CredentialFile(path, CHEAP).keep(code, f"pin of {code}", given=False, between=none)


def test_programs_that_set_pins_at_once_lose_none(tmp_path: Path) -> None:
    path = tmp_path / "credentials.json"
    codes = [f"RN-{number}" for number in range(12)]
    forked = multiprocessing.get_context("spawn")
    with forked.Pool(4) as pool:
        pool.starmap(_one_of_many, [(path, code) for code in codes])
    keeper = CredentialFile(path, CHEAP)
    assert all(keeper.fits(code, f"pin of {code}") for code in codes)


def test_a_pin_is_forgotten_with_its_person(tmp_path: Path) -> None:
    keeper = set_pins(tmp_path / "credentials.json", ("RN-12", "RN-27"))
    keeper.forget("RN-12")
    keeper.forget("RN-12")
    assert not keeper.has("RN-12") and keeper.has("RN-27")


UNFIT = {
    "short": "4815",
    "one figure": "777777",
    "upwards": "234567",
    "downwards": "987654",
    "letters upwards": "abcdef",
    "two figures": "121212",
    "the code": "rn-12x",
    "in the badge": "001122",
    "space at the end": "seven gulls ",
    "cannot be seen": "seven\u200bgulls",
    "steers": "seven\x1b[2J",
    "too long": "x1y2z3" * 30,
}


@pytest.mark.parametrize("why", UNFIT)
def test_a_pin_that_anybody_would_try_is_not_taken_and_never_quoted(why: str) -> None:
    pin = UNFIT[why]
    sentence = unfit(pin, shortest=6, code="RN-12", badge="952000000000001122")
    assert sentence and pin not in sentence


def test_a_good_pin_or_password_is_taken() -> None:
    for pin in ("481529", "seven grey gulls", "Möwe 7 grau", "🦩🐦🦩🐧🐝🦉"):
        assert unfit(pin, shortest=6, code="RN-12", badge="952000000000001122") == ""
