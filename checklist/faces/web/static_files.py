"""The style sheets, scripts and pictures, read once: only what lies there by name is ever given."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from hashlib import sha256
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

FOLDER = Path(__file__).parent / "static"
TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}


def endpoint(folder: Path = FOLDER) -> Callable[[Request], Awaitable[Response]]:
    """The page that gives the files of one folder, each with a strong tag of its content."""
    files = {
        path.name: (path.read_bytes(), TYPES[path.suffix])
        for path in sorted(folder.iterdir())
        if path.is_file() and path.suffix in TYPES
    }
    tags = {name: f'"{sha256(content).hexdigest()[:32]}"' for name, (content, _) in files.items()}

    async def given(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in files:
            raise HTTPException(404)
        headers = {"ETag": tags[name], "Cache-Control": "no-cache"}
        known = request.headers.get("if-none-match", "")
        if tags[name] in {one.strip() for one in known.split(",")}:
            return Response(status_code=304, headers=headers)
        content, kind = files[name]
        return Response(content, headers={**headers, "Content-Type": kind})

    return given
