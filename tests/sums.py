"""The sums written out in the sources of derived figures: each `2 x 51 = 102` found and worked out again."""

import ast
import operator
import re
from collections.abc import Callable
from typing import NamedTuple

UNIT = re.compile(r"(?<=\d) ?(?:cm2|cm|mm|g|degrees C|days|times)(?![\w])")
RESULT = re.compile(r"=\s*(\d[\d,]*(?:\.\d+)?)")
STARTS = re.compile(r"(?<![\w.,])[\d(]")
KNOWN: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}


class Sum(NamedTuple):
    """What is written before an equals sign, what it comes to, and what is written behind it."""

    written: str
    worked_out: float
    said: float
    half_a_digit: float

    @property
    def right(self) -> bool:
        """Whether the result that is said is that of the sum, rounded."""
        return abs(self.worked_out - self.said) <= self.half_a_digit * 1.000001


def sums(source: str) -> list[Sum]:
    """Return each sum of a source. An equals sign behind anything else is an error."""
    found = []
    for equals in RESULT.finditer(source):
        before = UNIT.sub("", source[: equals.start()]).rstrip()
        for start in STARTS.finditer(before):
            written = before[start.start() :]
            try:
                worked_out = _value(ast.parse(_python(written), mode="eval").body)
            except (SyntaxError, ValueError):
                continue
            break
        else:
            raise ValueError(f"no sum before the equals sign: {source[: equals.end()]}")
        said = equals[1].rstrip(",")
        decimals = len(said.partition(".")[2])
        found.append(Sum(written, worked_out, float(said.replace(",", "")), 0.5 * 10**-decimals))
    return found


def _python(written: str) -> str:
    if not re.fullmatch(r"[\d.,()x/+\-^ ]+", written) or re.search(r",(?!\d{3})", written):
        raise ValueError(written)
    return written.replace(",", "").replace("x", "*").replace("^", "**")


def _value(node: ast.expr) -> float:
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return float(node.value)
    if isinstance(node, ast.BinOp) and type(node.op) in KNOWN:
        return KNOWN[type(node.op)](_value(node.left), _value(node.right))
    raise ValueError(ast.dump(node))
