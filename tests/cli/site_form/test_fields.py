"""The form has every key of the site file, and no other; what is typed is read as people write it."""

from __future__ import annotations

from typing import get_args

import pytest
from pydantic import BaseModel

from shuntbook.analysis.site.site import Site
from shuntbook.cli.site_form.system import GROUPS, field_at, field_path, group_of, model_of
from shuntbook.cli.site_form.typed import Typed, typed_of, value_of
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.toml.amounts import unit_named
from shuntbook.ingest.toml.places import fields_of, holds_list, leaves, models_in


def keys_of(model, above=()):
    """Yield every key of the site model, with the tables above it."""
    for key, held in fields_of(model).items():
        inner = models_in(held)
        if inner:
            yield from keys_of(inner[0], (*above, key))
        else:
            yield (*above, key)


def test_the_form_has_every_key_of_the_site_file_and_no_other():
    """None is missing, and none is invented."""
    form = [
        (*filter(None, [group.key]), *key.split("."))
        for group in GROUPS
        for field in group.fields
        for key in field.keys
    ]
    assert sorted(form) == sorted(keys_of(Site))


def test_groups_are_lists_where_the_file_has_lists():
    """Inverters, loads, cables, meters."""
    tables = fields_of(Site)
    assert {group.key for group in GROUPS if group.several} == {
        key for key, held in tables.items() if models_in(held) and holds_list(held)
    }


@pytest.mark.parametrize("group", GROUPS, ids=lambda group: group.key)
def test_choices_and_units_are_those_that_the_file_takes(group):
    """What can be chosen is what can be written, and each unit is one that is understood."""
    for field in group.fields:
        annotation = model_of(group, field).model_fields[field.key.rpartition(".")[2]].annotation
        words = {
            word for each in (annotation, *get_args(annotation)) for word in get_args(each) if isinstance(word, str)
        }
        assert set(field.choices) == words, field.key
        assert bool(field.units) <= bool(leaves(annotation) & {float, int}), field.key
        for unit in field.units:
            assert unit_named({"°C": "degC", "°F": "degF"}.get(unit, unit)) is not None, unit
        assert set(field.names) <= {"inverters", "loads", "chargers", "array"}


def test_what_the_file_needs_is_required():
    """A field without a default, or the first of several that say the same."""
    for group in GROUPS:
        table = model_of(group, group.fields[0]) if group.key else Site
        needed = {key for key, each in table.model_fields.items() if each.is_required()} - {"bank"}
        for keys in getattr(table, "needed", ()):
            needed |= {field.key for field in group.fields if set(field.keys) >= set(keys)}
        assert {field.key for field in group.fields if field.need == "required"} == needed, group.key


FIGURES = [
    ("loads", "hp", "3/4 hp", "", "hp", 0.75),
    ("loads", "hp", "1 1/2", "", "hp", 1.5),
    ("loads", "hp", "0,75", "kW", "hp", 1.0057666),
    ("loads", "power_W", "1,5 kW", "", "power_W", 1500.0),
    ("loads", "code_letter", "m", "", "code_letter", "M"),
    ("loads", "power_factor", "58 %", "", "power_factor", 0.58),
    ("loads", "phases", "3", "", "phases", 3),
    ("water", "cut_in_kPa", "40 psi", "bar", "cut_in_psi", 40.0),  # the unit in the text is the surer
    ("water", "cut_in_kPa", "2,8", "bar", "cut_in_kPa", 280.0),
    ("water", "tank_volume_L", "20 gal", "", "tank_volume_gal", 20.0),
    ("water", "tank_volume_L", "80", "L", "tank_volume_L", 80.0),
    ("water", "flow_L_per_min", "10", "gal/min", "flow_gal_per_min", 10.0),
    ("water", "head_m", "20 ft", "", "head_ft", 20.0),
    ("conductors", "area_mm2", "2/0", "", "gauge_AWG", "2/0"),
    ("conductors", "area_mm2", "6", "AWG", "gauge_AWG", "6"),
    ("conductors", "area_mm2", "16 mm²", "", "area_mm2", 16.0),
    ("conductors", "carries", "a; b", "", "carries", ["a", "b"]),
    ("bank", "capacity_Ah", "10 kWh", "", "capacity_Ah", 208.3),  # at 48 V
    ("bank", "max_discharge_A", "100 A / 200 A", "", "max_discharge_A", [100.0, 200.0]),
    ("bank", "chemistry", "AGM", "", "chemistry", "agm"),
    ("bank", "chemistry", "Lithium", "", "chemistry", "lifepo4"),
    ("bank", "chemistry", "lead-acid", "", "chemistry", "flooded_lead_acid"),
    ("loads", "kind", "a pump", "", "kind", "pump"),
    ("bank", "temperature_degC", "59", "°F", "temperature_degF", 59.0),
    ("inverters", "continuous_VA", "3 kVA", "", "continuous_VA", 3000.0),
    ("bank", "cycle_life", "50 % 1200; 80% 600 cycles", "", "cycle_life", [[50.0, 1200.0], [80.0, 600.0]]),
    ("bank", "throughput_kWh", "6048", "kWh", "throughput_kWh", 6048.0),
    ("bank", "price", "1440", "", "price", 1440.0),
    ("bank", "currency", "EUR", "", "currency", "EUR"),
    ("inverters", "efficiency_curve", "300 W 88 %; 1 kW 92%", "", "efficiency_curve", [[300.0, 88.0], [1000.0, 92.0]]),
    ("inverters", "always_on", "yes", "", "always_on", True),
    ("array", "losses_pct", "2, 3,5, 2", "", "losses_pct", [2.0, 3.5, 2.0]),
    ("limits", "minimum_run_s", "1 min", "", "minimum_run_s", 60.0),
]  # fmt: skip


def field_called(table, key):
    """Return a group and its field."""
    where = (key,) if not table else (table, key) if not group_of((table, 0)).several else (table, 0, key)
    return group_of(where), field_at(where)


@pytest.mark.parametrize(("table", "key", "text", "unit", "right_key", "right"), FIGURES)
def test_what_is_typed_is_read_as_people_write_it(table, key, text, unit, right_key, right):
    """In the units of plates, with a decimal comma, as a fraction; and shown again it is read the same."""
    group, field = field_called(table, key)
    read = value_of(group, field, Typed(text, unit), nominal_V=48.0)
    assert read == (right_key, right)
    assert value_of(group, field, typed_of(field, *read), nominal_V=48.0) == read


@pytest.mark.parametrize(
    ("table", "key", "text", "sentence"),
    [
        ("bank", "nominal_V", "-3", "must be greater than 0 (got '-3')"),
        ("bank", "nominal_V", "abc", "must be a number with or without its unit, V (got 'abc')"),
        ("bank", "nominal_V", "1e999", "must be a number with or without its unit, V (got '1e999')"),
        ("bank", "capacity_Ah", "1,150", "may be 1150 or 1.15: write it without a comma (got '1,150')"),
        ("bank", "capacity_Ah", "5 kWh", "needs the bank's nominal voltage first: Ah are Wh over volts"),
        ("bank", "strings", "2.5", "must be a whole number (got '2.5')"),
        ("bank", "usable_depth_pct", "120 %", "must be at most 100 (got '120 %')"),
        ("water", "cut_in_kPa", "40", "needs its unit: psi or bar or kPa (got '40')"),
        ("inverters", "continuous_W", "3000 VA", "must be in W or kW (got 3000 VA)"),
        ("inverters", "always_on", "perhaps", "must be yes or no (got 'perhaps')"),
        ("", "zone", "Europe/Lundon", "must be the name of a time zone; did you mean 'Europe/London'?"),
        ("loads", "kind", "lamp", "must be one of pump, motor, compressor, heater, electronics, lights, other"),
        ("loads", "power_factor", "5 W", "must be a number without a unit (got '5 W')"),
        ("bank", "cycle_life", "1200", "must be pairs of depth and cycles such as 50 % 1200; 80 % 600"),
        ("bank", "cycle_life", "80 % 600; 50 % 1200", "must go from shallow to deep"),
        ("inverters", "efficiency_curve", "88", "must be pairs of watts and percent such as 300 W 88 %; 1000 W 92 %"),
    ],
)
def test_what_cannot_be_is_told_in_one_sentence(table, key, text, sentence):
    """In words of what was typed."""
    group, field = field_called(table, key)
    with pytest.raises(InputError) as error:
        value_of(group, field, Typed(text))
    assert str(error.value).startswith(sentence)


def test_a_key_leads_to_its_field():
    """Whichever unit it is in; what has no field keeps its path."""
    assert field_path(("water", "cut_in_psi")) == ("water", "cut_in_kPa")
    assert field_path(("inverters", 1, "loss_model", "idle_W")) == ("inverters", 1, "loss_model", "idle_W")
    assert field_path(("bank", "nothing")) == ("bank", "nothing")
    assert field_at(("nothing",)) is None
    assert field_at(("bank",)) is None
    assert issubclass(model_of(*field_called("bank", "nominal_V")), BaseModel)
