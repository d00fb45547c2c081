"""Tables of the generated pages, and what counts as a change of one."""

from __future__ import annotations

import re


def table(head: list[str], rows: list[list[str]]) -> str:
    """Markdown table."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join(lines + ["| " + " | ".join(row) + " |" for row in rows])


NUMBER = re.compile(r"\d+(?:\.(\d+))?")


def same(old: str, new: str) -> bool:
    """Whether two texts have the same words, and numbers that differ by one unit of the last printed place at most."""

    def value(text: str, match: re.Match[str]) -> float:
        sign = -1.0 if match.start() and text[match.start() - 1] in "-\u2212" else 1.0
        return sign * float(match[0])

    def words(text: str) -> str:
        return re.sub(r"[+\-\u2212]?#", "#", NUMBER.sub("#", text))

    if words(old) != words(new):
        return False
    for one, other in zip(NUMBER.finditer(old), NUMBER.finditer(new), strict=True):
        places = len(other[1] or "")
        unit = 10.0**-places
        if len(one[1] or "") != places or abs(value(old, one) - value(new, other)) > 1.001 * unit:
            return False
    return True
