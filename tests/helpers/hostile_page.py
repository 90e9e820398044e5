"""A report whose every text of the user's means harm: markup, quotes, signs that turn a line round, and length."""

from dataclasses import replace

from report_scenes import START_US, make_log, make_plate, make_report, make_site, with_facts

from shuntbook.analysis.health.finding import Check, Finding

SCRIPT = "<script>document.title = 'harmed'</script>"
NASTY = (
    f"{SCRIPT}</style></svg><img src=x onerror=\"document.title='harmed'\"> & ' \" $x^2$ "
    "\u202eabc\u2066\u200f \x00\x07 עברית 3"
)
LONG = "m" * 10_000


def hostile_report():
    """Two logs of a site; what a log, a site file or a note may hold is hostile or ten thousand letters long."""
    return make_report(_log(NASTY), _log(LONG), site=make_site().model_copy(update={"name": NASTY}))


def _log(text):
    finding = Finding("draw_drift", "act", text, text, text, text, text, text)
    check = Check("draw_drift", "found", text, text, text, finding)
    log = make_log()
    cycles = replace(log.cycles, load=text, cycles=tuple(replace(c, load=text) for c in log.cycles.cycles))
    plate = make_plate()
    steps = tuple(replace(step, step=text, origin=text) for step in plate.estimate.steps)
    estimate = replace(plate.estimate, load=text, steps=steps, assumptions=(text,))
    log = replace(
        log,
        cycles=cycles,
        findings=(finding, replace(finding, severity="note")),
        checks=(check,),
        plate=replace(plate, estimate=estimate, remarks=(text,)),
    )
    markers = tuple((START_US + place * 60_000_000, text) for place in range(40))
    return with_facts(log, name=text, meter=text, source=text, zone=text, remarks=(text,), markers=markers)
