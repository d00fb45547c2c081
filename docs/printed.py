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
        unit = 10.0 ** -max(len(one[1] or ""), len(other[1] or ""))  # 5.8 is 5.80 with three digits
        if abs(value(old, one) - value(new, other)) > 1.001 * unit:
            return False
    return True


SIGNS = {"degC": "°C", "degF": "°F", "+-": "±", "m2": "m²", "m3": "m³"}
SPELLED = re.compile(r"```.*?```|`[^`]*`|degC|degF|\+-|\bm[23](?=K?\b)", re.DOTALL)


def typeset(text: str) -> str:
    """Text with signs in place of their spellings, code left as it is."""
    return SPELLED.sub(lambda match: SIGNS.get(match[0], match[0]), text)
