"""What do the rule packs say? The base pack, the local packs of the plant laid over it, and what persons confirmed.

A pack is a TOML file. A base pack (`us_federal`, `who_guidelines`) holds requirements. A local pack in the plant's
folder ``rules`` names the base it lies over and holds what the State defines ([state]), stricter limits ([[stricter]])
and further requirements ([[requirement]]). It may not loosen what it lies over.
"""

import difflib
import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from weirhouse.quantity import known as known_unit
from weirhouse.quantity import parse
from weirhouse.records.model import Event
from weirhouse.rules.applying import TREATMENTS
from weirhouse.rules.lines import Lines, lines_of
from weirhouse.rules.methods import METHODS, TIERS, Method
from weirhouse.rules.model import Confirmation, Requirement
from weirhouse.rules.terms import Rounding, StateTerms

FOLDER = "rules"
BASES = ("us_federal", "who_guidelines")
DEFAULT_BASE = "us_federal"
TABLES = {
    "contact_time/giardia_free_chlorine": "CT of free chlorine for Giardia, 40 CFR 141.74(b)(3)(v) Tables 1.1 to 1.6",
    "contact_time/virus_free_chlorine": "CT of free chlorine for viruses, EPA guidance manual (1991), Table E-7",
}
MOST_BYTES = 1_000_000

_TEXTS = (
    "id", "title", "rule", "citation", "applies_to", "parameter", "location", "statistic", "unit", "sampling", "action",
    "deadline", "notes", "provenance", "source_ref",
)  # fmt: skip
_NEEDED = ("id", "title", "citation", "statistic", "limit", "unit", "provenance")
_APPLIES = (
    "treatment",
    "population_below",
    "population_from",
    "population_above",
    "population_most",
    "since",
    "before",
)
_LISTS = (
    "population_table", "bin_limits_oocysts_per_l", "conventional_log", "direct_log", "matrix_percent",
    "toc_row_upper_mg_l", "alk_col_upper_mg_l", "alk_upper_mg_l", "target_ph",
)  # fmt: skip
_NUMBERS = (
    "fraction", "maximum", "percent", "limit_low", "max_hours_below", "hpc_limit_per_ml", "population_max",
    "consecutive_months", "repeat_months", "action_days", "arrange_days", "assessment_days", "complete_days",
    "posting_days", "profile_days", "report_days", "repair_limit_days", "repair_limit_working_days", "violation_hours",
    "extra_trigger_ntu_after_4h", "giardia_credit_log", "giardia_remaining_log", "virus_credit_log",
    "virus_remaining_log", "crypto_credit_log", "log_per_ratio", "haa5", "haa5_waiver", "tthm_waiver", "source_toc",
    "toc_below_mg_l", "suva_at_or_below", "percent_if_40_or_more", "acrylamide_percent", "acrylamide_dose_mg_l",
    "epichlorohydrin_percent", "epichlorohydrin_dose_mg_l", "lake_trigger_per_100ml", "stream_trigger_per_100ml",
)  # fmt: skip
_UNITS_NOT_MEASURED = {
    "", "tier", "elements", "days", "months", "years", "indefinite", "percent", "ratio", "log", "min", "h", "samples",
    "samples per day", "samples per month", "positives", "positive samples", "event", "locations", "per day",
    "per 100 mL", "oocysts/L", "mg.min/L", "L/mg-m", "mg/L TOC", "business day", "day of following month",
    "days after month end", "month (1 July)", "color units", "pH units", "threshold odor number",
}  # fmt: skip


class PackError(ValueError):
    """A rule pack cannot be used as it is: one sentence that names file and line and says what to mend."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """Order and headings of the State's own report form, as a local pack gives them."""

    title: str = ""
    columns: tuple[tuple[str, str], ...] = ()  # (what stands there, the form's heading)
    file: str = ""
    lines: tuple[int, ...] = ()  # on which each column stands


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """One pack as its file gives it."""

    id: str
    title: str
    kind: str  # "base" or "local"
    edition: str
    over: str = ""
    requirements: tuple[Requirement, ...] = ()
    stricter: tuple["Stricter", ...] = ()
    state: StateTerms | None = None
    form: Form = Form()
    lines: Mapping[str, int] = field(default_factory=dict)  # on which each requirement and each term of [state] stands


@dataclass(frozen=True, slots=True, kw_only=True)
class Stricter:
    """A stricter term of the State or the permit for a requirement of the base pack."""

    requirement: str
    citation: str
    line: int
    limit: float | None = None  # in the unit of the requirement
    terms: Mapping[str, float] = field(default_factory=dict)  # fraction, max_hours_below, repair_limit_days ...


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleBook:
    """What is in force for a plant: requirements with local terms laid over, the State's definitions, confirmations."""

    requirements: tuple[Requirement, ...]
    state: StateTerms
    titles: tuple[str, ...]
    form: Form = Form()
    stands: Mapping[str, str] = field(default_factory=dict)  # file and line of each requirement of the local packs
    tables_confirmed: Mapping[str, Confirmation] = field(default_factory=dict)

    def requirement(self, id: str) -> Requirement | None:
        """Return a requirement by its id, None when the packs have none."""
        return next((r for r in self.requirements if r.id == id), None)

    def confirmed(self, confirmations: Mapping[str, Confirmation]) -> "RuleBook":
        """Return the book with what persons have compared with the printed rule."""
        marked = tuple(replace(r, confirmed=confirmations.get(r.key)) for r in self.requirements)
        tables = {key: found for key, found in confirmations.items() if key in TABLES}
        return replace(self, requirements=marked, tables_confirmed=tables)


# --- reading -------------------------------------------------------------------------------------------------------


def load_rules(folder: Path | None = None, events: Iterable[Event] = ()) -> RuleBook:
    """Return the rules in force for a plant's folder: base pack, local packs, and confirmations from the records.

    Raises
    ------
    PackError
        If a local pack cannot be used, in one sentence with file and line.
    """
    local = [] if folder is None else [_read(file) for file in sorted((Path(folder) / FOLDER).glob("*.toml"))]
    return assemble(local).confirmed(confirmations(events))


def base_pack(id: str) -> Pack:
    """Return one of the packs that come with Weirhouse."""
    if id not in BASES:
        raise PackError(f'There is no rule pack "{id[:40]}". There are {", ".join(BASES)}.')
    name = f"{id}.toml"
    return parse_pack(files("weirhouse.rules").joinpath("packs", name).read_text(encoding="utf-8"), name)


def _read(file: Path) -> tuple[str, Pack]:
    raw = file.read_bytes()
    name = f"{FOLDER}/{file.name}"
    if len(raw) > MOST_BYTES:
        raise PackError(f"{name}: larger than {MOST_BYTES // 1_000_000} MB: this is no rule pack.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise PackError(f"{name}, line {line}: not UTF-8 text. Save the file as UTF-8.") from None
    pack = parse_pack(text, name)
    if pack.kind != "local":
        raise PackError(f'{name}, line {lines_of(text).of("pack", 0, "kind")}: a pack of the plant is kind = "local".')
    return name, pack


def assemble(local: Sequence[tuple[str, Pack]]) -> RuleBook:
    """Return base and local packs laid over each other; each local pack comes with the name of its file."""
    overs = {pack.over for _, pack in local} or {DEFAULT_BASE}
    if len(overs) > 1:
        raise PackError(
            f"{local[1][0]}, line 1: the local packs lie over different packs ({', '.join(sorted(overs))})."
        )
    base = base_pack(overs.pop())
    found = {r.id: r for r in base.requirements}
    state, form = StateTerms(), Form()
    stands: dict[str, str] = {}
    for name, pack in local:
        for own in pack.requirements:
            if own.id in found:
                raise PackError(
                    f'{name}, line {pack.lines[own.id]}: "{own.id}" is a requirement already. '
                    "Use [[stricter]] for its limit."
                )
            found[own.id] = own
            stands[own.id] = f"{name}, line {pack.lines[own.id]}"
        for one in pack.stricter:
            found[one.requirement] = _laid_over(name, pack, found.get(one.requirement), one)
        if pack.state is not None:
            state = _merged(name, state, pack)
        form = pack.form if pack.form.columns or pack.form.title else form
    titles = tuple(f"{p.title} ({p.edition})" if p.edition else p.title for p in (base, *(pack for _, pack in local)))
    return RuleBook(requirements=tuple(found.values()), state=state, titles=titles, form=form, stands=stands)


def _merged(name: str, first: StateTerms, pack: Pack) -> StateTerms:
    given: dict[str, Any] = {}
    second = pack.state or StateTerms()
    for key in StateTerms.__dataclass_fields__:
        new, old = getattr(second, key), getattr(first, key)
        if key == "where":
            given[key] = {**old, **new}
        elif new not in (None, ""):
            if old not in (None, "", new):
                raise PackError(
                    f"{name}, line {pack.lines[key]}: [state] {key} is given otherwise in another local pack."
                )
            given[key] = new
    return replace(first, **given)


def _laid_over(name: str, pack: Pack, base: Requirement | None, one: Stricter) -> Requirement:
    at = f"{name}, line {one.line}"
    if base is None:
        raise PackError(f'{at}: there is no requirement "{one.requirement[:60]}" in the pack that this lies over.')
    method = _method(base)
    extra = dict(base.extra)
    for key, value in one.terms.items():
        old = extra.get(key)
        if not isinstance(old, int | float):
            raise PackError(f'{at}: "{one.requirement}" has no {key} that could be made stricter.')
        worse = value < old if key == "fraction" else value > old
        if worse:
            raise PackError(
                f"{at}: {key} = {value:g} is looser than {old:g} of {base.citation}; only stricter may stand."
            )
        extra[key] = value
    if one.limit is None:
        return replace(base, extra=extra, stricter_by=one.citation or pack.title)
    if base.limit is None:
        raise PackError(f'{at}: "{one.requirement}" has no limit that could be made stricter.')
    side = method.stricter if method is not None else ""
    if not side:
        raise PackError(f'{at}: the limit of "{one.requirement}" is told and not what it is judged by, so it stays.')
    if one.limit > base.limit if side == "lower" else one.limit < base.limit:
        raise PackError(
            f"{at}: {one.limit:g} {base.unit} is looser than {base.limit:g} {base.unit} of {base.citation}; "
            "only stricter may stand."
        )
    return replace(base, limit=one.limit, base_limit=base.limit, extra=extra, stricter_by=one.citation or pack.title)


def _method(requirement: Requirement) -> Method | None:
    return METHODS.get(str(requirement.check.get("method", "")))


# --- one file --------------------------------------------------------------------------------------------------------


class _Where:
    """Says what is wrong, with file and line."""

    def __init__(self, name: str, lines: Lines) -> None:
        self.name, self.lines = name, lines

    def wrong(self, why: str, table: str, place: int = 0, key: str = "") -> PackError:
        end = "" if why.endswith((".", "?")) else "."
        return PackError(f"{self.name}, line {self.lines.of(table, place, key)}: {why}{end}")


@lru_cache(maxsize=16)  # what was read stands until its text changes, and a page is not kept waiting for it
def parse_pack(text: str, name: str) -> Pack:
    """Return the pack that a text gives; PackError with file and line."""
    try:
        document = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        what = " ".join(str(error).split()) or "tables nested too deep"
        there = re.search(r"at line (\d+)", what)  # else it is where the text ends
        line = int(there[1]) if there is not None else max(1, len(text.splitlines()))
        what = what.replace("at end of document", "the file ends within it")
        raise PackError(
            f"{name}, line {line}: not valid TOML: {what}. Look for a missing quote or bracket there or above."
        ) from None
    where = _Where(name, lines_of(text))
    known = {"pack", "requirement", "stricter", "state", "form"}
    for table in document:
        if table not in known:
            raise where.wrong(f"there is no table [{table[:40]}]. There are {', '.join(sorted(known))}", table)
    head = _head(where, document.get("pack"))
    if head["kind"] == "base" and ("stricter" in document or "state" in document):
        raise where.wrong("[state] and [[stricter]] belong into a local pack", "pack", 0, "kind")
    tables = _tables(where, document.get("requirement", []), "requirement")
    requirements = tuple(_requirement(where, table, i, head["id"]) for i, table in enumerate(tables))
    ids = [r.id for r in requirements]
    for i, id in enumerate(ids):
        if id in ids[:i]:
            raise where.wrong(f'"{id}" is given twice', "requirement", i, "id")
    return Pack(
        **head, requirements=requirements,
        stricter=tuple(
            _stricter(where, table, i)
            for i, table in enumerate(_tables(where, document.get("stricter", []), "stricter"))
        ),
        state=_state(where, document["state"]) if "state" in document else None,
        form=_form(where, document.get("form", {}), text),
        lines={
            **{key: where.lines.of("state", 0, key) for key in document.get("state", {})},
            **{id: where.lines.of("requirement", i, "id") for i, id in enumerate(ids)},
        },
    )  # fmt: skip


def _tables(where: _Where, raw: object, name: str) -> list[dict[str, Any]]:
    if not isinstance(raw, list) or not all(isinstance(table, dict) for table in raw):
        raise where.wrong(f"write it with two brackets, [[{name}]]: there may be several", name)
    return raw


def _head(where: _Where, raw: object) -> dict[str, str]:
    if not isinstance(raw, dict):
        raise where.wrong('the table [pack] is missing. Begin with [pack] and id = "..."', "pack")
    for key in raw:
        if key not in ("id", "title", "kind", "edition", "over"):
            raise where.wrong(f'"{key[:40]}" is not a field of [pack]', "pack", 0, key)
    found = {}
    for key in ("id", "title", "kind", "edition", "over"):
        value = raw.get(key, "")
        if not isinstance(value, str):
            raise where.wrong(f"{key} is text, between quotes", "pack", 0, key)
        found[key] = value
    for key in ("id", "title", "kind"):
        if not found[key]:
            raise where.wrong(f"{key} is missing in [pack]", "pack")
    if found["kind"] not in ("base", "local"):
        raise where.wrong('kind is "base" or "local"', "pack", 0, "kind")
    if found["kind"] == "local" and found["over"] not in BASES:
        raise where.wrong(f"over names the pack that this lies over: {' or '.join(BASES)}", "pack", 0, "over")
    return found


def _requirement(where: _Where, table: dict[str, Any], place: int, pack: str) -> Requirement:
    def wrong(why: str, key: str = "") -> PackError:
        return where.wrong(why, "requirement", place, key)

    for key in _NEEDED:
        if key not in table:
            raise wrong(f"{key} is missing")
    for key in _TEXTS:
        if not isinstance(table.get(key, ""), str):
            raise wrong(f"{key} is text, between quotes", key)
    if not table["id"].replace("_", "").isalnum() or not table["id"].islower():
        raise wrong(f'"{table["id"][:40]}" cannot be an id. Use small letters, digits and _', "id")
    if not table["title"].strip():
        raise wrong("title is empty: say in a few words what is asked", "title")
    if not table["citation"].strip():
        raise wrong("citation is empty: name the rule it comes from", "citation")
    if table["provenance"] not in ("source", "memory", "mixed"):
        raise wrong("provenance is source, memory or mixed", "provenance")
    if table["provenance"] != "memory" and not table.get("source_ref", "").strip():
        raise wrong('source_ref is empty: name what was read, or write provenance = "memory"', "source_ref")
    limit = _limit(table["limit"], wrong)
    unit = table["unit"]
    if unit not in _UNITS_NOT_MEASURED and not known_unit(unit):
        raise wrong(f'"{unit[:40]}" is not a unit known here', "unit")
    check, applies = table.get("check", {}), table.get("applies", {})
    if not isinstance(check, dict) or not isinstance(applies, dict):
        raise wrong("check and applies are tables, between braces", "check" if "check" in table else "applies")
    _check(check, limit, wrong)
    for key, value in applies.items():
        if key not in _APPLIES:
            near = difflib.get_close_matches(key, _APPLIES, n=1)
            hint = f" Do you mean {near[0]}?" if near else f" There are {', '.join(_APPLIES)}."
            raise wrong(f'"{key[:40]}" is no condition of applies.{hint}', "applies")
        if key in ("since", "before"):
            _day(value, lambda why: wrong(why, "applies"))
        elif key == "treatment":
            if not isinstance(value, list) or not value or not all(one in TREATMENTS for one in value):
                raise wrong(f"treatment is a list of {', '.join(TREATMENTS)}, each between quotes", "applies")
        elif type(value) is not int or value < 0:
            raise wrong(f"{key} is a number of people, without quotes", "applies")
    extra = {k: v for k, v in table.items() if k not in (*_TEXTS, "limit", "check", "applies")}
    for key, value in extra.items():
        if key not in (*_NUMBERS, *_LISTS):
            near = difflib.get_close_matches(key, (*_NUMBERS, *_LISTS, *_TEXTS), n=1)
            hint = f" Do you mean {near[0]}?" if near else ""
            raise wrong(f'a requirement has no field "{key[:40]}".{hint}', key)
        if key in _LISTS and not isinstance(value, list):
            raise wrong(f"{key} is a list, between brackets", key)
        if (
            key in _NUMBERS
            and _limit(value, lambda _why, at: wrong(f"{at} is a number without quotes", at), key) is None
        ):
            raise wrong(f"{key} is a number without quotes", key)
    return Requirement(
        pack=pack, limit=limit, check=check, applies=applies, extra=extra,
        **{key: table.get(key, "") for key in _TEXTS},
    )  # fmt: skip


def _limit(raw: object, wrong: Any, key: str = "limit") -> float | None:
    if raw == "":
        return None
    if isinstance(raw, bool) or not isinstance(raw, int | float) or not math.isfinite(raw):
        raise wrong('limit is a number without quotes, or "" where the rule gives none', key)
    return float(raw)


def _check(check: Mapping[str, Any], limit: float | None, wrong: Any) -> None:
    if not check:
        return
    name = check.get("method")
    method = METHODS.get(name) if isinstance(name, str) else None
    if method is None:
        near = difflib.get_close_matches(str(name), METHODS, n=1)
        hint = f" Do you mean {near[0]}?" if near else f" There are {', '.join(sorted(METHODS))}."
        raise wrong(f'"{str(name)[:40]}" is no method.{hint}', "check")
    for term, kind in method.needs.items():
        if term not in check:
            raise wrong(f"check needs {term} for the method {name}", "check")
        if not isinstance(check[term], kind):
            raise wrong(f"{term} of check is not of the right kind for the method {name}", "check")
    for term in check:
        if term != "method" and term not in method.needs and term not in method.may:
            raise wrong(f'the method {name} takes no term "{str(term)[:40]}"', "check")
    if check.get("minutes", 15) != 15:
        raise wrong("minutes is 15: a value is recorded each quarter hour", "check")
    tier = check.get("tier")
    if tier is not None and tier not in TIERS:
        near = difflib.get_close_matches(str(tier), TIERS, n=1)
        hint = f" Do you mean {near[0]}?" if near else f" There are {', '.join(TIERS)}."
        raise wrong(f'"{str(tier)[:40]}" is no tier of a public notice.{hint}', "check")
    if check.get("per", "filter") != "filter":
        raise wrong('per is "filter", or left out where there is a channel', "check")
    if method.limit and limit is None:
        raise wrong(f"limit is missing: the method {name} needs one", "limit")


def _day(raw: object, wrong: Any) -> date:
    if isinstance(raw, datetime):
        return raw.date()
    if isinstance(raw, date):
        return raw
    try:
        return date.fromisoformat(str(raw))
    except ValueError:
        raise wrong(f'"{str(raw)[:40]}" is not a date. Write it like "2026-04-14"') from None


_STRICTER_TERMS = ("fraction", "max_hours_below", "repair_limit_days", "repair_limit_working_days")


def _stricter(where: _Where, table: dict[str, Any], place: int) -> Stricter:
    def wrong(why: str, key: str = "") -> PackError:
        return where.wrong(why, "stricter", place, key)

    known = ("requirement", "limit", "citation", "why", *_STRICTER_TERMS)
    for key in table:
        if key not in known:
            raise wrong(f'"{key[:40]}" is not a field of [[stricter]]. It may have {", ".join(known)}', key)
    for key in ("requirement", "citation"):
        if not isinstance(table.get(key), str) or not table[key].strip():
            raise wrong(f"{key} is missing", key)
    if not isinstance(table.get("why", ""), str):
        raise wrong("why is text, between quotes", "why")
    terms: dict[str, float] = {}
    for key in _STRICTER_TERMS:
        if key in table:
            value = _limit(table[key], lambda _why, at: wrong(f"{at} is a number without quotes", at), key)
            if value is None or value <= 0:
                raise wrong(f"{key} is a number above 0", key)
            if key == "fraction" and value > 1:
                raise wrong("fraction is a share of at most 1: 0.95 for 95 percent", key)
            terms[key] = value
    limit = _limit(table["limit"], wrong) if "limit" in table else None
    if limit is None and not terms:
        raise wrong("nothing is made stricter: give limit or another term")
    return Stricter(
        requirement=table["requirement"], citation=table["citation"], limit=limit, terms=terms,
        line=where.lines.of("stricter", place, "limit" if limit is not None else ""),
    )  # fmt: skip


_CHOICES: dict[str, tuple[str, ...]] = {
    "recorded_value": ("first", "last", "highest", "mean"),
    "combined_value": ("first", "last", "highest", "mean"),
    "maximum_counts": ("recorded", "every"),
    "off_hours": ("counted", "not_counted"),
    "filter_to_waste": ("counted", "not_counted"),
    "lead_copper_rank": ("interpolate", "nearest"),
}


def _state(where: _Where, raw: object) -> StateTerms:
    if not isinstance(raw, dict):
        raise where.wrong("write it as a table, [state]", "state")
    known = [key for key in StateTerms.__dataclass_fields__ if key != "where"]
    found: dict[str, Any] = {}
    cited: dict[str, str] = {}

    def wrong(why: str, key: str) -> PackError:
        return where.wrong(why, "state", 0, key)

    for key, value in raw.items():
        if key == "where":
            if not isinstance(value, dict) or not all(isinstance(v, str) for v in value.values()):
                raise wrong("where names for each term the State's rule or letter, as text", key)
            cited = {str(k): v for k, v in value.items()}
            continue
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f" Do you mean {near[0]}?" if near else f" There are {', '.join(known)}."
            raise wrong(f'"{key[:40]}" is not a term of [state].{hint}', key)
        found[key] = _term(key, value, wrong)
    for key in cited:
        if key not in known:
            raise wrong(f'where names "{key[:40]}", which is no term of [state]', "where")
    return StateTerms(**found, where=cited)


def _term(key: str, value: Any, wrong: Any) -> Any:
    if key in _CHOICES:
        if value not in _CHOICES[key]:
            raise wrong(f"{key} is one of {', '.join(_CHOICES[key])}", key)
        return value
    if key == "combined_interval":
        seconds = _quantity(value, "s", key, wrong)
        if seconds not in (900.0, 14400.0):
            raise wrong('combined_interval is "4 h" or "15 min"', key)
        return seconds
    if key == "residual_detectable":
        least = _quantity(value, "g/m^3", key, wrong)
        if least < 0:
            raise wrong("residual_detectable is not below 0", key)
        return least
    if key == "holidays":
        if not isinstance(value, list):
            raise wrong('holidays is a list of dates like ["2026-11-26"]', key)
        return tuple(_day(day, lambda why: wrong(why, key)) for day in value)
    if key == "business_day_ends":
        try:
            datetime.strptime(str(value), "%H:%M")  # noqa: DTZ007  # a clock time, no instant
        except ValueError:
            raise wrong('business_day_ends is a clock time like "16:30"', key) from None
        return str(value)
    return _rounding(key, value, wrong)


def _rounding(key: str, value: Any, wrong: Any) -> Rounding:
    if value == "as_recorded":
        return Rounding(None)
    if isinstance(value, dict) and set(value) == {"decimals", "half"}:
        decimals = value["decimals"]
        if type(decimals) is int and 0 <= decimals <= 4 and value["half"] in ("up", "even"):
            return Rounding(decimals, value["half"])
    raise wrong(f'{key} is "as_recorded" or {{ decimals = 2, half = "up" }} (half: up or even)', key)


def _quantity(value: Any, unit: str, key: str, wrong: Any) -> float:
    try:
        return float(parse(str(value), unit, key))
    except ValueError as error:
        raise wrong(" ".join(str(error).split()), key) from None


def _form(where: _Where, raw: object, text: str) -> Form:
    if not isinstance(raw, dict):
        raise where.wrong("write it as a table, [form]", "form")
    for key in raw:
        if key not in ("title", "columns"):
            raise where.wrong(f'"{key[:40]}" is not a field of [form]', "form", 0, key)
    title, columns = raw.get("title", ""), raw.get("columns", [])
    if not isinstance(title, str):
        raise where.wrong("title is text, between quotes", "form", 0, "title")
    good = isinstance(columns, list) and all(
        isinstance(c, list) and len(c) == 2 and all(isinstance(part, str) for part in c) for c in columns
    )
    if not good:
        raise where.wrong('columns is a list of pairs like ["volume", "Water treated"]', "form", 0, "columns")
    return Form(
        title=title, columns=tuple((c[0], c[1]) for c in columns), file=where.name,
        lines=_lines_of_pairs(text, [c[0] for c in columns], where.lines.of("form", 0, "columns")),
    )  # fmt: skip


def _lines_of_pairs(text: str, names: Sequence[str], begin: int) -> tuple[int, ...]:
    """Return the line of each pair of a list that begins on a line: of its name, else of the pair before."""
    lines = text.splitlines()
    found: list[int] = []
    line, column = begin, 0
    for name in names:
        pair = re.compile(rf"\[\s*([\"']){re.escape(name)}\1")
        for number in range(line, len(lines) + 1):
            hit = pair.search(lines[number - 1], column if number == line else 0)
            if hit is not None:
                line, column = number, hit.end()
                break
        found.append(line)
    return tuple(found)


# --- confirmations -----------------------------------------------------------------------------------------------


def confirmations(events: Iterable[Event]) -> dict[str, Confirmation]:
    """Return what persons compared with the printed rule, the newest of each, from events of kind "rule_confirmed"."""
    found: dict[str, Confirmation] = {}
    for event in sorted((e for e in events if e.kind == "rule_confirmed"), key=lambda e: e.started_at):
        edition = str(event.values.get("edition", "")) or event.note
        found[event.subject] = Confirmation(person=event.person, at=event.started_at, edition=edition)
    return found
