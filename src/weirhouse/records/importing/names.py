"""Which channel of the plant is a column? By the words of its heading, its parameter code and its unit.

A heading names what is measured (turbidity, pH) and often where (raw, settled, filter 1). A channel is read the same
way from its id and name. A column is taken for a channel when both agree. A column that says what but not where is
taken for the raw water, which is what loggers in streams write, and the result says so.
"""

import re
from collections.abc import Mapping
from typing import NamedTuple, Protocol

from weirhouse.records.importing.problem import word_set


class ChannelLike(Protocol):
    """What is needed of a channel of the plant."""

    @property
    def name(self) -> str:
        """Title for people."""

    @property
    def unit(self) -> str:
        """Unit people write it in."""

    @property
    def inside(self) -> str:
        """Unit it is stored in."""

    @property
    def low(self) -> float | None:
        """Least value the instrument can mean, in the inside unit."""

    @property
    def high(self) -> float | None:
        """Greatest value the instrument can mean, in the inside unit."""


class Meaning(NamedTuple):
    """What a heading or a channel measures and where; "" where it does not say."""

    kind: str
    place: str


class Match(NamedTuple):
    """A channel for a column: how sure (3 same name, 2 what and where agree, 1 where is taken for granted)."""

    channel: str
    sure: int


# kinds in the order they are looked for: a phrase before the words it holds
_KINDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("dose", ("dose", "dosage")),
    ("setting", ("setting", "stroke")),
    ("head_loss", ("head loss", "headloss", "loss of head", "lh")),
    (
        "level",
        ("water level", "level", "stage", "gage height", "gauge height", "gageheight", "waterhoogte", "wasserstand"),
    ),
    ("uv254", ("uv254", "uv 254", "uva 254", "uva254", "uva", "absorbance")),
    ("turbidity", ("turbidity", "turbidite", "turb", "tur", "trueb", "trubung", "trübung", "troebelheid", "turbidez")),
    ("alkalinity", ("alkalinity", "alkalinite", "alk", "alcalinidad", "alkalinitaet", "alkalinität")),
    (
        "conductivity",
        ("specific conductance", "conductivity", "conductance", "spcond", "speccond", "spc", "cond", "leit"),
    ),
    ("chlorine", ("free chlorine", "chlorine residual", "free residual", "free cl2", "chlorine", "cl2", "residual")),
    ("temperature", ("temperature", "temp", "wtemp", "temperatur", "temperatura", "watertemp")),
    ("toc", ("total organic carbon", "toc")),
    ("doc", ("dissolved organic carbon", "doc")),
    ("rain", ("rain", "rainfall", "precipitation", "precip", "niederschlag", "neerslag", "pioggia")),
    ("fdom", ("fdom", "cdom")),
    ("oxygen", ("dissolved oxygen", "do", "oxygen")),
    ("ph", ("ph",)),
    (
        "flow",
        ("flow rate", "flowrate", "flow", "streamflow", "discharge", "abfluss", "debit", "caudal", "portata", "afvoer"),
    ),
    ("hardness", ("hardness",)),
    ("iron", ("iron",)),
    ("manganese", ("manganese",)),
    ("aluminium", ("aluminium", "aluminum")),
    ("color", ("color", "colour")),
    ("e_coli", ("e coli", "escherichia coli", "ecoli")),
    ("coliform", ("total coliforms", "total coliform", "coliforms", "coliform")),
    ("tthm", ("total trihalomethanes", "trihalomethanes", "tthm")),
    ("haa5", ("haloacetic acids", "haa5")),
    ("ammonia", ("ammonia", "ammonia and ammonium", "ammonium")),
    ("nitrate", ("nitrate", "no3")),
    ("fluoride", ("fluoride",)),
    ("sodium", ("sodium",)),
    ("chloride", ("chloride",)),
    ("calcium", ("calcium",)),
    ("copper", ("copper",)),
    ("lead", ("lead",)),
)
_PLACES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("backwash", ("backwash", "wash")),
    ("coagulant tank", ("coagulant tank", "coagulant day tank", "coag tank", "coag day tank")),
    (
        "chlorine tank",
        (
            "chlorine tank",
            "hypochlorite tank",
            "hypo tank",
            "chlorine day tank",
            "hypochlorite day tank",
            "hypo day tank",
        ),
    ),
    ("coagulant", ("coagulant", "coag")),
    ("combined", ("combined filter effluent", "combined filtered", "combined", "cfe")),
    ("settled", ("settled", "sed", "clarified", "clarifier", "settling", "sedimentation")),
    ("contact", ("contact", "clearwell", "clear well")),
    ("entry", ("entry point", "entry", "finished", "treated", "effluent", "plant outlet", "outlet", "distribution")),
    ("storage", ("storage", "hill tank", "standpipe", "tower", "reservoir", "tank")),
    ("intake", ("intake", "screen")),
    ("demand", ("demand", "consumption", "system")),
    ("plant", ("plant",)),
    ("air", ("air", "ambient")),
    ("raw", ("raw", "source", "stream", "river", "creek", "brook", "influent", "inlet", "lake")),
    ("chlorine", ("chlorine", "hypochlorite", "hypo")),
)
# words that make of a column something else than the reading: its spread, a setting, a copy, another chemical
_OTHER = word_set(
    "std sd dev stdev var variance count obs n battery batt bv volts internal logger board case dew",
    "setpoint set target limit alarm diff slope delta drop change factor factors id number no sn barom",
    "barometric baro sat saturation mv thmfp ct formation potential index grade approval qa qc code cd",
    "flag qual qualifier label type comment note latitude longitude lat lon median_absolute dosed",
    "demandtest basis fail fraction reading_id method detection rank ratio gap dioxide monochloramine",
    "chloramine total_chlorine combined_chlorine percentile humidity wind windspeed intensity pressure",
    "pres abs",
)
_CORRECTED = word_set(
    "cor corr corrected adj adjusted calibrated smoothed filled estimated roll rollmed rollavg",
)
_STATISTICS = {
    "max": "maximum",
    "maximum": "maximum",
    "min": "minimum",
    "minimum": "minimum",
    "mean": "mean",
    "avg": "mean",
    "ave": "mean",
    "average": "mean",
    "median": "median",
}

# U.S. Geological Survey parameter codes: kind, place, unit. 00010, 00060, 00065, 00095 and 63680 as in files kept in
# tests/reference; the others from memory.
PARAMETER_CODES: dict[str, tuple[str, str, str]] = {
    "00010": ("temperature", "raw", "degC"),
    "00011": ("temperature", "raw", "degF"),
    "00020": ("temperature", "air", "degC"),
    "00021": ("temperature", "air", "degF"),
    "00045": ("rain", "", "in"),
    "00060": ("flow", "raw", "ft3/s"),
    "00061": ("flow", "raw", "ft3/s"),
    "00065": ("level", "raw", "ft"),
    "00076": ("turbidity", "raw", "NTU"),
    "00095": ("conductivity", "raw", "uS/cm"),
    "00300": ("oxygen", "raw", "mg/L"),
    "00400": ("ph", "raw", "pH"),
    "00680": ("toc", "raw", "mg/L"),
    "39086": ("alkalinity", "raw", "mg/L"),
    "63675": ("turbidity", "raw", "NTU"),
    "63676": ("turbidity", "raw", "NTU"),
    "63680": ("turbidity", "raw", "FNU"),
}
STATISTIC_CODES = {"00001": "maximum", "00002": "minimum", "00003": "mean", "00008": "median"}

# units of the U.S. Geological Survey's columns when their headings were shortened to words (Wtemp_Inst, Flow_Inst)
SURVEY_UNITS = {
    "temperature": "degC",
    "flow": "ft3/s",
    "turbidity": "FNU",
    "conductivity": "uS/cm",
    "oxygen": "mg/L",
    "level": "ft",
    "ph": "pH",
}


def words(text: str) -> list[str]:
    """Return the words of a heading: "Filter1_Turbidity" gives filter, 1, turbidity."""
    split = re.sub(r"(?<=[a-zäöüß])(?=[A-ZÄÖÜ])", " ", text) if not re.search(r"pH", text) else text
    return re.findall(r"[^\W\d_]+\d*|\d+", split.lower())


def plain_name(text: str) -> str:
    """Return a heading or channel name for comparing: its words joined by underscores."""
    return "_".join(re.findall(r"[^\W\d_]+|\d+", text.lower()))


def meaning(text: str) -> Meaning:
    """Return what a heading measures and where."""
    found = words(text)
    line = " " + " ".join(found) + " "
    spaced = " " + " ".join(re.findall(r"[^\W\d_]+|\d+", text.lower())) + " "
    kind = ""
    for name, phrases in _KINDS:
        for phrase in phrases:
            if f" {phrase} " in line or f" {phrase} " in spaced:
                kind = name
                line, spaced = line.replace(f" {phrase} ", " "), spaced.replace(f" {phrase} ", " ")
                break
        if kind:
            break
    place = ""
    number = re.search(r" (?:filter|f|flt|filt) ?(\d{1,2}) ", spaced)
    if number:
        place = f"filter {int(number.group(1))}"
    else:
        for name, phrases in _PLACES:
            if any(f" {phrase} " in line or f" {phrase} " in spaced for phrase in phrases):
                place = name
                break
        if not place and re.search(r" (filtered|filtrate) ", spaced):
            place = "combined"
    return Meaning(kind, place)


def statistic(text: str) -> str:
    """Return the statistic a heading names ("maximum", "mean", ...), or ""."""
    for code in re.findall(r"(?<!\d)\d{5}(?!\d)", text)[1:]:
        if code in STATISTIC_CODES:
            return STATISTIC_CODES[code]
    for word in words(text):
        if word in _STATISTICS:
            return _STATISTICS[word]
    return ""


def parameter_code(text: str) -> str:
    """Return the parameter code in a heading such as "256628_63680_00001", or ""."""
    for code in re.findall(r"(?<!\d)\d{5}(?!\d)", text):
        if code in PARAMETER_CODES:
            return str(code)
    return ""


def unusable(text: str) -> str:
    """Return why a column is not a reading of a channel although its words sound like one, or ""."""
    found = set(words(text))
    if found & _CORRECTED:
        return "a corrected copy; name it in a mapping to take it instead of the reading"
    if found & _OTHER:
        return "not a reading of a channel, by its heading"
    return ""


_PREFERRED = {
    "turbidity": "raw",
    "temperature": "raw",
    "ph": "raw",
    "alkalinity": "raw",
    "conductivity": "raw",
    "level": "raw",
    "uv254": "raw",
    "fdom": "raw",
    "oxygen": "raw",
    "flow": "plant",
    "chlorine": "entry",
}
_UNIT_KINDS = {"NTU": "turbidity", "FNU": "turbidity", "degC": "temperature", "degF": "temperature", "pH": "ph"}


def match(name: str, unit: str, code: str, channels: Mapping[str, ChannelLike]) -> tuple[Match | None, str]:
    """Return the channel that a column is, or None with the reason.

    `code` is a parameter code or "". Units are compared by the caller.
    """
    plain = plain_name(name)
    for key, channel in channels.items():
        if plain and plain in (plain_name(key), plain_name(channel.name)):
            return Match(key, 3), ""
    if code:
        kind, place, _ = PARAMETER_CODES[code]
    else:
        why = unusable(name)
        if why:
            return None, why
        kind, place = meaning(name)
        kind = kind or (_UNIT_KINDS.get(unit, "") if len(words(name)) <= 2 else "")
    if not kind:
        return None, "its heading names nothing that a channel of the plant measures"
    meanings = {key: meaning(f"{key} {channel.name}") for key, channel in channels.items()}
    same = [key for key, m in meanings.items() if m.kind == kind]
    if not same:
        return None, f"the plant has no channel for {kind.replace('_', ' ')}"
    if place:
        fit = [key for key in same if meanings[key].place == place]
        if len(fit) == 1:
            return Match(fit[0], 2), ""
        bare = [key for key in same if not meanings[key].place]
        if len(bare) == 1 and place in ("raw", "entry") and not fit:
            return Match(bare[0], 1), ""
        where = {"raw": "the stream or raw water"}.get(place, place)
        return None, f"the plant has no channel for {kind.replace('_', ' ')} of {where}"
    bare = [key for key in same if not meanings[key].place]
    if len(bare) == 1:
        return Match(bare[0], 1), ""
    fit = [key for key in same if meanings[key].place == _PREFERRED.get(kind, "")]
    if len(fit) == 1:
        return Match(fit[0], 1), ""
    if len(same) == 1:
        return Match(same[0], 1), ""
    return None, f"it may be any of {', '.join(same[:6])}"


# what the helping columns of a table are called
TIME_WORDS = word_set(
    "date time datetime timestamp datetimestamp stamp datum tijd zeit zeitstempel fecha hora date_time",
    "data ora heure dt day uhrzeit sampledate sampletime sampledatetime collected sampled unix unixtime",
    "epoch epochtime sec seconds waarnemingdatum waarnemingtijd tstamp ts when",
)
EPOCH_WORDS = word_set(
    "unix unixtime epoch epochtime sec seconds timestamp time ts tstamp ms millis",
)
PART_WORDS = {  # of a time whose parts stand in columns of their own
    "year": ("year", "yr", "yyyy", "jahr"),
    "month": ("month", "mo", "mon", "monat"),
    "day": ("day", "dy", "dom", "tag"),
    "day_of_year": ("doy", "day_of_year", "julian_day", "jday", "julian"),
    "hour": ("hour", "hr", "hh", "stunde"),
    "minute": ("minute", "minutes", "mins"),
    "hhmm": ("hhmm", "hrmn"),
}
ZONE_WORDS = frozenset(("tz_cd", "tz", "timezone", "time_zone", "timezonecode", "tzcd", "zone"))
PARAMETER_WORDS = (
    "result_characteristic",
    "characteristicname",
    "characteristic",
    "parameter",
    "parametername",
    "parameter_name",
    "analyte",
    "analyte_name",
    "variable",
    "determinand",
    "constituent",
    "test",
    "grootheid_omschrijving",
    "channel",
    "tag",
)
VALUE_WORDS = (
    "result_measure",
    "resultmeasurevalue",
    "resultvalue",
    "result_value",
    "result",
    "res",
    "value",
    "numeriekewaarde",
    "measurement",
    "reading",
    "mean",
    "wert",
    "valor",
    "waarde",
)
UNIT_WORDS = (
    "result_measureunit",
    "resultmeasure_measureunitcode",
    "resultmeasureunitcode",
    "unit",
    "units",
    "result_unit",
    "resultunit",
    "uom",
    "eenheid_code",
    "einheit",
    "unidad",
    "unidade",
)
QUALIFIER_WORDS = (
    "result_resultdetectioncondition",
    "resultdetectionconditiontext",
    "qual",
    "qualifier",
    "qualifiers",
    "flag",
    "flags",
    "remark",
    "remark_code",
    "limietsymbool",
    "lab_qualifier",
    "resultqualifier",
    "quality_code",
    "quality",
    "detect",
    "sign",
    "censor",
)
LIMIT_WORDS = (
    "detectionlimit_measurea",
    "detectionquantitationlimitmeasure_measurevalue",
    "detection_limit",
    "reporting_limit",
    "mdl",
    "mrl",
    "rl",
    "dl",
    "lod",
    "loq",
)
LIMIT_UNIT_WORDS = ("detectionlimit_measureunita", "detectionquantitationlimitmeasure_measureunitcode")
SITE_WORDS = (
    "location_identifier",
    "monitoringlocationidentifier",
    "site_no",
    "site",
    "siteid",
    "site_id",
    "station",
    "station_id",
    "station_no",
    "location",
    "sample_point",
    "samplepoint",
    "locatie_code",
    "well",
    "bmp",
)
FRACTION_WORDS = ("result_samplefraction", "resultsamplefractiontext", "sample_fraction", "samplefraction", "fraction")
SPECIES_WORDS = ("result_methodspeciation", "methodspecificationname", "method_speciation", "methodspeciation")
ACTIVITY_WORDS = (
    "activity_typecode",
    "activitytypecode",
    "activity_type",
    "sample_type",
    "sampletype",
    "sample_type_code",
    "qc_type",
)


def heading_key(text: str) -> str:
    """Return a heading for comparing with the lists above: lower case, blanks and signs as one underscore."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower().strip()).strip("_")
