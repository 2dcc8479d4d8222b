"""Commands as the documents have them, to be pasted: in indented blocks and in code spans."""

from __future__ import annotations

import re
from pathlib import Path

#: a comment behind a command
_COMMENT = re.compile(r"\s+# .*$")


def commands(document: Path) -> list[str]:
    """Each command of `warmwell` or of deploy/demo.sh in a document, in its order."""
    found = []
    for line in document.read_text(encoding="utf-8").splitlines():
        whole = re.fullmatch(r" {4,}((?:warmwell|bash deploy/demo\.sh|source <\(warmwell) ?.*)", line)
        spans = [whole[1]] if whole else re.findall(r"`((?:warmwell|bash deploy/demo\.sh) [^`]*)`", line)
        found += [_COMMENT.sub("", text).strip() for text in spans]
    return found
