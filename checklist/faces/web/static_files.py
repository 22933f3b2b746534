"""The style sheets, scripts and pictures, read once: only what lies there by name is ever given."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping
from functools import cache
from hashlib import sha256
from pathlib import Path

from jinja2.ext import Extension
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

FOLDER = Path(__file__).parent / "static"
TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}


KEPT = "public, max-age=31536000, immutable"
"""For a file that is asked for by its version: it never changes under that."""


class Versioned(Extension):
    """Adds to each address of a file of ours in a template which version of the file is meant, so
    that browsers keep it and never use an old one.
    """

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """The template's source with the versions in it."""
        tags = _tags()

        def versioned(found: re.Match[str]) -> str:
            tag = tags.get(found[1])
            return found[0] if tag is None else f'"/static/{found[1]}?v={version(tag)}"'

        return re.sub(r'"/static/([a-z_]+\.[a-z]+)"', versioned, source)


def version(tag: str) -> str:
    """The version of a file by its tag."""
    return tag.strip('"')[:12]


@cache
def _files(folder: Path) -> Mapping[str, tuple[bytes, str]]:
    return {
        path.name: (path.read_bytes(), TYPES[path.suffix])
        for path in sorted(folder.iterdir())
        if path.is_file() and path.suffix in TYPES
    }


def _tags(folder: Path = FOLDER) -> dict[str, str]:
    """A strong tag of the content of each file."""
    return {
        name: f'"{sha256(content).hexdigest()[:32]}"'
        for name, (content, _) in _files(folder).items()
    }


def endpoint(folder: Path = FOLDER) -> Callable[[Request], Awaitable[Response]]:
    """The page that gives the files of one folder, each with a strong tag of its content."""
    files, tags = _files(folder), _tags(folder)

    async def given(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in files:
            raise HTTPException(404)
        same = request.query_params.get("v", "") == version(tags[name])
        headers = {"ETag": tags[name], "Cache-Control": KEPT if same else "no-cache"}
        known = request.headers.get("if-none-match", "")
        if tags[name] in {one.strip() for one in known.split(",")}:
            return Response(status_code=304, headers=headers)
        content, kind = files[name]
        return Response(content, headers={**headers, "Content-Type": kind})

    return given
