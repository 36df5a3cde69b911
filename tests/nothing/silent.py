"""What holds a word of direction and claims nothing: shares and sizes, cautions, headings, names, drawings in words."""

import re
from typing import Final

# Headings, names of figures and of columns, questions; whole.
NAMES: Final = frozenset(
    """Agree; agree; Better; better; Worse; worse; Beyond; Resolved; Signal; Difference; differ; difference; differences;
    Inward; inward; Outward; outward; Below it after; Beyond at arrival; Beyond at departure;
    Beyond the limit before; Beyond the noise;
    Difference, points; beyond the noise, its interval; Nearer to neutral;
    What a difference hints at; Better, unchanged and worse, tilt and sway;
    differ, within-knee the larger; differ, pooled the larger; differ, opposite directions;
    One more shim; over both estimates, a clear change;
    The larger; The signals; Where they disagree;
    Outside the limits; outside the limits; Right less left; Left knee further out, beyond the limit; Feet differ;
    Right knee further out, beyond the limit; One in ten, or more; If all not seen were lost, or held; further riders →;
    How large the differences are; How many knees moved by more than the noise; The share beyond other limits; comfort gained;
    Nearer to neutral, by where the knee stood at arrival; What stood beside each signal; no direction;
    what the signals below are held against;
    Moved; What moved; What moved it; what the moves below are held against; right knee less left; Difference, 95 % interval;
    The first shim, and each further one; Stance up to the limit, and beyond; A drift on a high arch less a low one;
    Of all: if all not seen said the worst, or the best; Of all: if all not seen were lost, or held;
    offset difference limit; side difference limit; knees better; side difference; base, rising or falling steadily;
    How a figure is said to have moved; The differences between the studios; Difference of;
    right less left; it remains where it is the limit or more; no estimate would change its direction""".replace(
        "\n    ", " "
    ).split("; ")
)
_FIGURES: Final = "Knees better|Knees nearer to neutral|Comfort gained|Fits with a side difference left|Side differences left"
_PATTERNS: Final = (
    # One studio less another, and the last of many periods.
    r"^\w+ less (?:\w+|the others)$|, the last \d+ (?:week|month|quarter)s$",
    # A share, a mean or a size, and of what; no comparison.
    r"^(?:clear and worth it|clear, small|clearly worse)$",
    r"^(?:Comfort|Pain) from arrival to the follow-up: (?:no )?clear[ ,a-z]+ in [\d,]+ of [\d,]+ fits? rated",
    # From how many points on riders call a change better, whatever became of anyone.
    r"^[Aa] (?:rise of comfort|fall of pain) of [\d.]+ points of 10 \(.* is where riders begin to call it ",
    r"^(?:[Cc]omfort|[Pp]ain), from which (?:rise|fall) on riders call it [a-z ]+: (?:cannot be told|not enough yet)",
    r"of fits agree with the exam \(",
    r"[Ss]ide difference in \w+ of (?:more than )?[\d.]+(?:°| mm)(?: or more)?(?: \(|: \d)",
    r"^Of [\d,]+ riders the last fit held for |^[\d,]+ ha(?:ve|s) a follow-up over, ",
    r"^[\d,]+ left with a side difference$|^(?:follow-up over, )?side difference of [\d.]+°(?:, far from the exam)?$",
    r"^(?:Follow-up over .*)?[\d.]+(?:°| mm) between the knees remain, the (?:left|right) one further out\.?$",
    r"^A knee's \w+ differs from itself by a typical error of ",
    r"^With nothing changed, .* seem resolved by noise alone",
    r"of feet (?:have a|show|collapse|are of the type) ",
    r"^a side difference in \w+ in [\d,]+ of [\d,]+ riders at arrival",
    r"^At (?:arrival|departure): [\d,]+ of [\d,]+ riders? beyond the limit$",
    r"^[\d,]+ (?:lie|lies) beyond the limit of .* in [\d,]+ the right knee is further out, in [\d,]+ the left one",
    r"^[\d,]+ resolved, [\d,]+ new, of |^Resolved \(at arrival only\): |^[\d,]+ lost the difference and [\d,]+ gained one",
    r"^All fits: [\d,]+ fits? at the start, |^All riders: (?:[\d.]+ %, interval|not enough yet)",
    r"^(?:Low insole|A (?:low|medium|high|custom) insole|One more varus shim|One mm of outward stance): [+-]?\d",
    r"^Share of riders with a side difference in \w+ by limit: ",
    r"left about as far from neutral as they came",
    # What the headline of the effects says of the knees for which nothing is claimed.
    r"^For knees that came (?:in|out)ward none clearly does\.?$|^No support clearly brings a knee nearer\.?$",
    # Names of rows and tables by arrival direction, and what an empty cell lacks.
    r"^(?:Inward|Near neutral|Outward): (?:low insole|medium insole|high insole|custom insole|one more shim|one mm of stance)$",
    r"^Change in the distance from neutral, knees that came |[\d,]+ more changes? needed",
    r"What settles the unclear$|^How many more riders settle what is unclear",
    r"^[\d,]+ bars span two estimates that differ$|: the two estimates (?:agree|disagree) in ",
    # What can be said about a figure, by the name of the button.
    r"^(?:Set a goal|Give a task|Write a note|Take away|What came of it)… (?:for|on|of) ",
    # A band's record: how much fell inside.
    r"of the last [\d,]+ changes?, \d+ % fell inside a band that promises ",
    # Whom a figure hangs on, whether two ways of looking agree: what is uncertain, and no direction.
    r"^One rider decides the direction of \d+ estimates?: |^No estimate would change its direction",
    r"^The two estimates (?:agree|disagree) in |^The two estimates differ by more than their noise",
    # A row that deserves a look, and the rules that ask for one.
    r"is far outside this studio's own spread",
    r"[\d,]+ of [\d,]+ fits? that can be judged (?:is|are) to look at together: ",
    r"^\d+ (?:levels?|shims?|other findings?)[\w ,]* from the exam(?:, and nothing came out better)?: ",
    r"Last fit far from the exam, and nothing came out better",
    r"^Too few fits yet: |^[\d,]+ fits? to look at together, the worst first$|^The case of the fit of ",
    # Flags in short.
    r"^(?:[Nn]o insole under the arch|[Aa] wedge against the foot's own angle|[Mm]ore shims than the forefoot needs|"
    r"[Aa]n insole (?:far from the arch|that pushes the knee away)|[Ss]hims that push the knee away|"
    r"[Ss]tance moved the wrong way for the knee|[Tt]he saddle not looked at first)(?:, (?:left|right|both) f(?:oo|ee)t)?[.;]",
    r"^(?:rule )?(?:[Ww]ider for outward knees|[Nn]arrower by the cleat|[Nn]o insole pushes|[Nn]o shim pushes)",
    r"^rule (?:insole|shims) not away$|^right less left; it remains where it is the limit or more$",
    r"(?:^|, )(?:left|right) foot: |(?:Flag|Note), (?:left|right) foot: |which leans it further (?:in|out)ward",
    # Fitters and charts within their limits, or without any.
    r": all \d+ fitters within the |: F\d within the |: no fitter can be compared yet$|: no limits yet$",
    r"^(?:Fitter \w+ \()?F\d\)?: .* expected of these riders .*; within the ",
    r"no figure moved by more than the usual scatter",
    r"^Phi of this selection: |^intercept; ",
    # The drawings in words, their axes and their keys.
    r"^(?:Control chart|Chart of the told intervals|Dot-and-interval chart) of |^Funnel of |^Bars of |^Scatter of |^[◆▲■●○∘□] ",
    # Headings and names that name a split, a figure or a limit.
    r"^Does a support do more for one ",
    r"^(?:Riders with a )?[Ss]ide differences? (?:in \w+(?:,| at both ends,) by |in \w+$|left|remains|limit|of all)",
    r"^Riders with a side difference in \w+, \w+ arch$|^Riders left with a side difference$",
    # How many fits would settle a figure, and drawn orders without a clear difference.
    r" on (?:tilt|sway): .*(?:narrower than |how many fits settle it)|are told as narrowly as the studio cares about\.$",
    r"^By the draw, no clear difference between |^Not enough yet to compare .* by the draw",
    r"(?:one more|fewer)[\w ]* less (?:a|one|no) |^one more varus shim$",
    # A fold repeats the title above it, whose claims are known.
    r"^(?:Numbers and p|P)ictures of: ",
    rf"^(?:{_FIGURES})(?: at departure| \(shown\)|, by fitter|, unchanged and worse at departure)*$",
    r"^Left out most often: | and \d+ more$|^A difference is called clear when its interval leaves out zero",
    r"^(?:\d+° and above|[Bb]elow \d+°|Hip flexion (?:below|\d+°)[^:]*)$",
)
_SILENT: Final = re.compile("|".join(f"(?:{pattern})" for pattern in _PATTERNS))


def is_silent(sentence: str) -> bool:
    """Whether a sentence is known to claim nothing, whatever its words."""
    return sentence in NAMES or bool(_SILENT.search(sentence))
