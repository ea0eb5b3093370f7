"""Literals that may be settled before the search: the small words in which the model is written."""

from typing import Any

from ortools.sat.python import cp_model

# A variable, its negation, a sum, or a plain number where the answer is settled before the search. The solver's
# own union of these defeats the type checker, so one alias stands for all of them.
Expression = Any
Literal = Any


def is_zero(literal: Literal) -> bool:
    """Tell whether a literal is settled as false."""
    return isinstance(literal, int) and literal == 0


def is_one(literal: Literal) -> bool:
    """Tell whether a literal is settled as true."""
    return isinstance(literal, int) and literal == 1


def all_of(*wanted: tuple[Literal, bool]) -> list[Literal] | None:
    """Return the literals under which all of these hold; None where they cannot."""
    when: list[Literal] = []
    for literal, value in wanted:
        if isinstance(literal, int):
            if bool(literal) != value:
                return None
        else:
            when.append(literal if value else literal.negated())
    return when


def implies(model: cp_model.CpModel, left: Literal, right: Literal) -> None:
    """Require that the right literal is true where the left one is."""
    if not (is_zero(left) or is_one(right)):
        model.add(left <= right)


def enforce(model: cp_model.CpModel, constraint: Any, when: list[Literal]) -> None:  # noqa: ANN401
    """Require a constraint under some literals; it may be settled as a plain True or False."""
    if constraint is True:
        return
    if constraint is False:
        model.add_bool_or([literal.negated() for literal in when])
        return
    rule = model.add(constraint)
    if when:
        rule.only_enforce_if(when)


def any_of(model: cp_model.CpModel, literals: list[Literal], name: str) -> Literal:
    """Return a literal that is true where any of these is (and may be true elsewhere, at a cost)."""
    if len(literals) == 1:
        return literals[0]
    if any(is_one(literal) for literal in literals):
        return 1
    found = model.new_bool_var(name)
    for literal in literals:
        model.add_implication(literal, found)
    return found
