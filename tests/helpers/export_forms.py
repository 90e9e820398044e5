"""The desk's form of an export as a browser would send it again, and exports of a pump for it."""

import html
import re

_TAG = re.compile(r"<input[^>]*>")
_SELECT = re.compile(r'<select id="[^"]*" name="([^"]*)".*?</select>', re.DOTALL)
_ANSWER = re.compile(r'<button name="answer" value="([^"]*)"[^>]*>(.*?)</button>')


def form_of(answer):
    """The fields of the form, as the browser holds them."""
    form = answer.text.partition("data-export>")[2].partition("</form>")[0]
    fields = {}
    for tag in _TAG.findall(form):
        value = re.search(r'value="([^"]*)"', tag)
        if "checkbox" not in tag or " checked" in tag:
            fields[re.search(r'name="([^"]*)"', tag)[1]] = html.unescape(value[1]) if value else ""
    for select in _SELECT.finditer(form):
        value = re.search(r'value="([^"]*)" selected', select[0])
        fields[select[1]] = html.unescape(value[1]) if value else ""
    return fields


def answers_of(answer):
    """The answers on offer: what each button sends, by its words."""
    return {html.unescape(label): html.unescape(sends) for sends, label in _ANSWER.findall(answer.text)}


def question_of(answer):
    """What is asked first; None where nothing is open."""
    asked = re.search(r'<h2 id="question">(.*?)</h2>', answer.text)
    return html.unescape(asked[1]) if asked else None


def wrong_at(answer, field):
    """The sentence at a field."""
    return html.unescape(re.search(rf'id="wrong-{field}">([^<]*)<', answer.text)[1]).replace("\xa0", " ")


def pump_export(
    *, sign=1.0, volts=True, header="Time,Current (A),Voltage (V)", row="2026-06-13 {t},{a},{v}", minutes=20
):
    """The runs of a pump, 20 s on and 40 s off, at a bank of 0.02 ohm; ``sign`` -1: charging is positive."""
    lines = [header]
    for k in range(60 * minutes):
        amps = 30.0 + 0.1 * (k % 3) if k % 60 >= 40 else 1.0 + 0.1 * (k % 2)
        clock = f"{10 + k // 3600:02d}:{k // 60 % 60:02d}:{k % 60:02d}"
        lines.append(
            row.format(
                t=clock,
                a=f"{sign * amps:.1f}",
                v=f"{25.5 - 0.02 * amps:.3f}" if volts else "",
                w=f"{sign * amps * 25:.0f}",
            )
        )
    return "\n".join(lines) + "\n"
