"""The policy of a page that was made to stand alone: its own, and shown by nobody else."""

from __future__ import annotations

import base64
import hashlib
import re
from html import unescape

_OWN = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')
_LOOKS = re.compile(r"<style>(.*?)</style>", re.DOTALL)


def own_policy(text: str) -> str:
    """Return what a page of the brief allows itself, as a header.

    A page without a policy of its own is allowed its looks and nothing else.
    """
    found = _OWN.search(text)
    if found:
        return f"{unescape(found[1])}; frame-ancestors 'none'"
    looks = " ".join(f"'sha256-{sha(inner)}'" for inner in _LOOKS.findall(text)) or "'none'"
    return f"default-src 'none'; style-src {looks}; base-uri 'none'; frame-ancestors 'none'"


def sha(text: str) -> str:
    """Return the hash by which a policy names a text."""
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
