"""Who may do what? Four roles, and the needs that a page or a command can have.

Why each may do what it may is reasoned in docs/decisions/roles.md.
"""

from enum import StrEnum


class Role(StrEnum):
    """What a person is at this plant."""

    OPERATOR = "operator"
    RELIEF = "relief"
    MANAGER = "manager"
    INSPECTOR = "inspector"


class Need(StrEnum):
    """What one must be allowed to do, to be answered."""

    OPEN = "open"  # nobody need be signed in: sign-in, set-up, style sheets
    READ = "read"  # looks, exports
    SELF = "self"  # changes what is one's own: the password, the sign-out
    WRITE = "write"  # enters, corrects, withdraws, imports; closes a day
    CLOSE = "close"  # closes a month, signs a report, confirms a rule
    MANAGE = "manage"  # people and settings


OPEN, READ, SELF, WRITE, CLOSE, MANAGE = (
    Need.OPEN, Need.READ, Need.SELF, Need.WRITE, Need.CLOSE, Need.MANAGE,
)  # fmt: skip

_EVERYBODY = frozenset(Role)
MAY: dict[Need, frozenset[Role]] = {
    Need.OPEN: _EVERYBODY,
    Need.READ: _EVERYBODY,
    Need.SELF: _EVERYBODY,
    Need.WRITE: frozenset({Role.OPERATOR, Role.RELIEF}),
    Need.CLOSE: frozenset({Role.OPERATOR, Role.MANAGER}),
    Need.MANAGE: frozenset({Role.OPERATOR, Role.MANAGER}),
}


def may(role: Role | str | None, need: Need) -> bool:
    """Return whether somebody in a role (None: nobody signed in) may do what a page needs.

    >>> may("inspector", READ), may("inspector", WRITE), may(None, READ), may(None, OPEN)
    (True, False, False, True)
    """
    if need is Need.OPEN:
        return True
    return role is not None and Role(role) in MAY[need]
