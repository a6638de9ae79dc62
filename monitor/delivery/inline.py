"""Pictures of a page as parts of a mail: `data:` addresses become `cid:` ones (RFC 2392); pure."""

import base64
import binascii
import re

_DATA = re.compile(r'src="data:image/png;base64,([A-Za-z0-9+/=]+)"')


def as_parts(page: str, name: str) -> tuple[str, tuple[tuple[str, bytes], ...]]:
    """The page and its pictures: Content-ID without brackets and PNG, each address once.

    `name` makes the identifiers: `picture-1.NAME`. What is not base64 stays where it is.
    """
    parts: list[tuple[str, bytes]] = []

    def moved(match: re.Match[str]) -> str:
        try:
            picture = base64.b64decode(match[1], validate=True)
        except binascii.Error:
            return match[0]
        parts.append((f"picture-{len(parts) + 1}.{name}", picture))
        return f'src="cid:{parts[-1][0]}"'

    return _DATA.sub(moved, page), tuple(parts)
