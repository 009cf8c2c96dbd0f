"""Ex markings and certificate numbers: read, written, compared, and refused with a cure.

The markings are examples of the form of IEC 60079-0:2017, clause 29 (from memory), unless a source stands beside them.
"""

import doctest
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from registry import certificate_numbers, marking
from registry.certificate_numbers import CertificateNumber
from registry.marking import (
    Associated,
    Marking,
    MarkingError,
    differences,
    parse_certificate_number,
    parse_marking,
    parse_markings,
    write_marking,
)
from registry.marking_parts import LETTERS_OF_CLASS, METHODS, PROTECTIONS
from tests.registry.texts import random_texts

# --- markings that stand as they are written ----------------------------------------------------------------------

AS_WRITTEN = [
    ("II 2 G Ex ia IIC T4 Gb", "field device", "ia"),
    ("[Ex ia Ga] IIC", "source", "ia"),
    ("Ex db [ia Ga] IIC T6 Gb", "source", "ia"),
    ("II (1) G [Ex ia Ga] IIC", "source", "ia"),
    ("Ex ia IIIC T135°C Da", "field device", "ia"),
    ("I M1 Ex ia I Ma", "field device", "ia"),
    ("Ex ia IIC T4 Ga -40 °C ≤ Ta ≤ +70 °C", "field device", "ia"),
    ("IS CL I, DIV 1, GP A, B, C, D T4", "field device", "ia"),
    ("Class I Zone 0 AEx ia IIC T4 Ga", "field device", "ia"),
    ("II 2 (1) G Ex db [ia Ga] IIC T6 Gb", "source", "ia"),
    ("II 3 G (1) D Ex ec [ia IIIC Da] IIC T4 Gc", "source", "ia"),
    ("II 2 (1) G Ex ia [ia Ga] IIC T4 Gb", "both", "ia"),
    ("II 1/2 G Ex ia/db IIC T6 Ga/Gb", "field device", "ia"),
    ("I M2 (M1) Ex db [ia Ma] I Mb", "source", "ia"),
    ("[Ex ib Gb] IIB", "source", "ib"),
    ("[Ex ia Ga] [ib Gb] IIC", "source", "ib"),
    ("Ex ic IIC T4 Gc", "field device", "ic"),
    ("EEx ia IIC T4", "field device", "ia"),
    ("II 1 GD EEx ia IIC T6", "field device", "ia"),
    ("Ex d e IIC T6", "neither", ""),
    ("Ex db IIB+H2 T6...T4 Gb", "neither", ""),
    ("Ex ia IIIC T200 135°C Da IP66", "field device", "ia"),
    ("Ex db IIC T350°C Gb", "neither", ""),
    ("NI CL I, DIV 2, GP A, B, C, D T4A", "neither", ""),
    ("AIS CL I, II, III, DIV 1, GP A, B, C, D, E, F, G", "source", "ia"),
    ("AIS CL I, DIV 2, GP C, D", "source", "ic"),
    ("XP/IS CL I, DIV 1, 2, GP C, D T5 Ta ≤ +60 °C", "field device", "ia"),
    ("IS CL III, DIV 1 T4", "field device", "ia"),
    ("[Ex ia] CL I, DIV 1, GP A, B, C, D", "source", "ia"),
    ("Class I Zone 2 AEx ec [ia Ga] IIC T4 Gc", "source", "ia"),
    ("Zone 20 AEx ia IIIC T135°C Da", "field device", "ia"),
]


@pytest.mark.parametrize(("text", "direction", "level"), AS_WRITTEN)
def test_marking_is_read_and_written_as_it_stands(text: str, direction: str, level: str) -> None:
    read = parse_marking(text)
    assert write_marking(read) == text
    assert read.direction == direction
    assert (read.source_level or read.device_level) == level


def test_parts_of_a_gas_marking() -> None:
    assert parse_marking("II 2 G Ex ia IIC T4 Gb -40 °C ≤ Ta ≤ +70 °C") == Marking(
        equipment_group="II",
        categories=("2",),
        atmospheres=("G",),
        symbol="Ex",
        protections=("ia",),
        groups=("IIC",),
        temperature_classes=("T4",),
        epl=("Gb",),
        ambient_min_degc=Decimal(-40),
        ambient_max_degc=Decimal(70),
    )


def test_parts_of_an_associated_apparatus_in_a_flameproof_enclosure() -> None:
    assert parse_marking("II 2 (1) G D Ex db [ia IIC Ga] IIB T6 Gb") == Marking(
        equipment_group="II",
        categories=("2",),
        atmospheres=("G", "D"),
        associated_categories=("1",),
        associated_atmospheres=("G", "D"),
        symbol="Ex",
        protections=("db",),
        associated=(Associated(("ia",), ("IIC",), ("Ga",)),),
        groups=("IIB",),
        temperature_classes=("T6",),
        epl=("Gb",),
    )


def test_parts_of_a_marking_by_divisions() -> None:
    assert parse_marking("IS CL I, II, DIV 1, GP A-G T4") == Marking(
        methods=("IS",),
        classes=("I", "II"),
        divisions=("1",),
        hazard_groups=tuple("ABCDEFG"),
        temperature_classes=("T4",),
    )


def test_parts_of_a_dust_marking() -> None:
    read = parse_marking("Ex ia IIIC T200 135 °C Da")
    assert (read.surface_temperature_degc, read.dust_layer_mm) == (Decimal(135), 200)
    assert parse_marking("Ex ia IIIC T₂₀₀ 135 °C Da") == read


# --- other spellings ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("II2G Ex ia IIC T4 Gb", "II 2 G Ex ia IIC T4 Gb"),
        ("  II  2G   Exia  IIC  T4  Gb ,", "II 2 G Ex ia IIC T4 Gb"),
        ("II 2 G\u00a0Ex ia IIC\u2009T4\tGb\n", "II 2 G Ex ia IIC T4 Gb"),
        ("II (1)G [Ex ia Ga] IIC", "II (1) G [Ex ia Ga] IIC"),
        ("II(1)GD[Ex ia]IIC", "II (1) GD [Ex ia] IIC"),
        ("II 2(1) G Ex db [ Ex ia Ga ] IIC T6 Gb", "II 2 (1) G Ex db [ia Ga] IIC T6 Gb"),
        ("II 2 G (1) Ex db [ia Ga] IIC T6 Gb", "II 2 (1) G Ex db [ia Ga] IIC T6 Gb"),
        ("II 3 G (1 D) Ex ec [ia IIIC Da] IIC T4 Gc", "II 3 G (1) D Ex ec [ia IIIC Da] IIC T4 Gc"),
        ("II 2 G/D EEx ia IIC T4", "II 2 GD EEx ia IIC T4"),
        ("EEx de IIC T6", "EEx d e IIC T6"),
        ("Ex db IIB + H2 T6-T4 Gb", "Ex db IIB+H2 T6...T4 Gb"),
        ("Ex db IIC T6…T4 Gb", "Ex db IIC T6...T4 Gb"),
        ("Ex ia IIIC T 135 degC Da", "Ex ia IIIC T135°C Da"),
        ("Ex opis IIC T6 Ga", "Ex op is IIC T6 Ga"),
        ("Ex ia IIC T4 Ga, Ta = -40 to +70 °C", "Ex ia IIC T4 Ga -40 °C ≤ Ta ≤ +70 °C"),
        ("Ex ia IIC T4 Ga Tamb: −40 °C … 70 °C", "Ex ia IIC T4 Ga -40 °C ≤ Ta ≤ +70 °C"),
        ("Ex ia IIC T4 Ga –40°C <= Tamb <= 70°C", "Ex ia IIC T4 Ga -40 °C ≤ Ta ≤ +70 °C"),
        ("Ex ia IIC T4 Ga Ta max. 60 °C", "Ex ia IIC T4 Ga Ta ≤ +60 °C"),
        ("Ex ia IIC T4 Ga 0 °C ≤ Ta ≤ 0,5 °C", "Ex ia IIC T4 Ga 0 °C ≤ Ta ≤ +0.5 °C"),
        ("IS Class I, Division 1, Groups A, B, C and D T4", "IS CL I, DIV 1, GP A, B, C, D T4"),
        ("is cl. i div. 1 gp abcd T4", "IS CL I, DIV 1, GP A, B, C, D T4"),
        ("IS Class I/II/III Div 1 & 2 Groups A through G T4", "IS CL I, II, III, DIV 1, 2, GP A, B, C, D, E, F, G T4"),
        ("Exia Class I, Div. 1, Grps A to D", "Ex ia CL I, DIV 1, GP A, B, C, D"),
        ("CL I, ZN 0, AEx ia IIC T4", "Class I Zone 0 AEx ia IIC T4"),
    ],
)
def test_other_spellings_come_to_the_same(text: str, written: str) -> None:
    assert write_marking(parse_marking(text)) == written
    assert parse_marking(written) == parse_marking(text)


def test_several_markings_of_one_nameplate() -> None:
    gas, dust = parse_markings("II 1 G Ex ia IIC T4 Ga; II 1 D Ex ia IIIC T135°C Da")
    assert (gas.epl, dust.epl) == (("Ga",), ("Da",))
    assert len(parse_markings("Ex ia IIC T4 Ga, Ex ia IIIC T135°C Da\nIS CL I, DIV 1, GP A, B, C, D T4")) == 3
    assert parse_markings(" ; \n") == ()


# Nameplates as they are published (forms of domain documents and data sheets, common practice, no source): how many
# markings, and for the first its groups and level, for all their notes.
NAMEPLATES = [
    ("II (1) GD [Ex ia Ga] IIC [Ex ia Da] IIIC", ["IIC", "IIIC"], ""),
    ("II (1) G [Ex ia Ga] IIC, II (1) D [Ex ia Da] IIIC", ["IIC", "IIIC"], ""),
    ("II (1)GD [Ex ia Ga] IIC, [Ex ia Da] IIIC", ["IIC", "IIIC"], ""),
    ("II 1G Ex ia IIC T4 Ga / II 1D Ex ia IIIC T135°C Da", ["IIC", "IIIC"], ""),
    ("II 1 GD Ex ia IIC T4 Ga Ex ia IIIC T135°C Da IP66/67", ["IIC", "IIIC"], ""),
    ("II 1 G Ex ia IIC T6...T4 Ga II 1 D Ex ia IIIC T85°C...T135°C Da", ["IIC", "IIIC"], ""),
    ("II 2 (1) GD Ex db [ia Ga] IIC T6 Gb Ex tb [ia Da] IIIC T85°C Db", ["IIC", "IIIC"], ""),
    ("Ex ia IIC T4 Ga Ex ia I Ma", ["IIC", "I"], ""),
    ("II (1) G [Ex ia Ga] IIC, FISCO power supply", ["IIC"], "FISCO power supply"),
    ("II 1 G Ex ia IIC T4 Ga FISCO field device", ["IIC"], "FISCO field device"),
    ("FISCO Ex ia IIC T4 Ga", ["IIC"], "FISCO"),
    ("Ex ic IIC T4 Gc (FISCO terminator)", ["IIC"], "FISCO terminator"),
    ("2-WISE power load port Ex ia IIC T4 Ga", ["IIC"], "2-WISE power load port"),
    ("Ex ia IIC T4 Ga FISCO -40 °C ≤ Ta ≤ +70 °C", ["IIC"], "FISCO"),
    ("IS CL I, DIV 1, GP A, B, C, D T4; Entity; see control drawing 4711 rev. B", [""], "Entity"),
    ("Ex ia IIB T4 Gb (see certificate)", ["IIB"], "see certificate"),
    ("II 2 G Ex ib IIC T6 Gb per drawing 12", ["IIC"], "per drawing 12"),
]


@pytest.mark.parametrize(("text", "groups", "note"), NAMEPLATES)
def test_a_nameplate_is_read_whole_and_comes_back(text: str, groups: list[str], note: str) -> None:
    read = parse_markings(text)
    named = [[name for part in item.associated for name in part.groups] + [*item.groups, ""] for item in read]
    assert [names[0] for names in named] == groups
    assert next((item.notes[0] for item in read if item.notes), "") == note
    assert parse_markings("; ".join(map(write_marking, read))) == read


def test_a_group_and_category_hold_for_what_follows_where_they_name_its_atmosphere() -> None:
    gas, dust = parse_markings("II (1) GD [Ex ia Ga] IIC [Ex ia Da] IIIC")
    assert (gas.equipment_group, dust.equipment_group, dust.associated_categories) == ("II", "II", ("1",))
    gas, dust = parse_markings("II 1 G Ex ia IIC T4 Ga Ex ia IIIC T135°C Da")
    assert (gas.categories, dust.categories) == (("1",), ())


def test_of_a_range_of_surface_temperatures_the_highest_counts() -> None:
    assert parse_marking("Ex ia IIIC T85°C...T135°C Da").surface_temperature_degc == 135


def test_there_are_forms_enough() -> None:
    assert len(AS_WRITTEN) + len(NAMEPLATES) >= 40


# --- refused ------------------------------------------------------------------------------------------------------

REFUSED = [
    ("", "as it stands on the nameplate"),
    ("Ex", "no type of protection"),
    ("Ex ia", "The group is missing"),
    ("ia IIC T4 Ga", "have no Ex"),
    ("Ex ia IIC T4 Ga X", "belongs to the certificate number"),
    ("Ex ia IIC T7 Ga", "no temperature class"),
    ("Ex ia IIC T135 Ga", "ends in °C"),
    ("Ex ia IID T4 Ga", "not understood"),
    ("EX IA IIC T4 GA", "mind capital and small letters"),
    ("Ex ia IIC T4 ga", "mind capital and small letters"),
    ("Ex ia IIC T4 Ga Gb", "more than one EPL"),
    ("Ex ia IIC IIB T4 Ga", "more than one group"),
    ("Ex ia IIC T4 T5 Ga", "more than one temperature class"),
    ("Ex ia Ex ib IIC T4", "more than one Ex"),
    ("Ex ia IIC T4 Ga; Ex ia IIIC T135°C Da", "two markings"),
    ("Ex ia IIC T4 Da", "does not go with the group"),
    ("Ex ia IIIC T135°C Ga", "does not go with the group"),
    ("Ex ia I Ga", "does not go with the group"),
    ("Ex ib IIC T4 Ga", "ib does not earn EPL Ga"),
    ("Ex ic IIC T4 Gb", "ic does not earn EPL Gb"),
    ("[Ex ib Ga] IIC", "ib does not earn EPL Ga"),
    ("Ex ia IIC/IIIC T4 Ga", "one by one"),
    ("Ex ia IIIC T4 Da", "surface temperature instead of a temperature class"),
    ("Ex ia IIC T3C Ga", "Subclasses"),
    ("Ex ia IIC T4...T4 Ga", "the same"),
    ("Ex ia IIC T200 135°C Ga", "layer"),
    ("II 1 G Ex ia IIC T4 Gb", "Category 1 does not go with EPL Gb"),
    ("II 1/2 G Ex ia IIC T4 Ga", "Category 1/2 does not go with EPL Ga"),
    ("II 2 D Ex ia IIC T4 Gb", "does not go with what stands before Ex"),
    ("I M1 Ex ia IIC T4 Ga", "does not go with what stands before Ex"),
    ("II 1 Ex ia IIC T4 Ga", "followed by G, D or GD"),
    ("I 1 G Ex ia I Ma", "Group I has categories M1 and M2"),
    ("II M1 Ex ia IIC T4 Ga", "group II has 1, 2 and 3"),
    ("II 1 G [Ex ia Ga] IIC", "category without parentheses"),
    ("II (1) G Ex ia IIC T4 Ga", "belongs to a part in square brackets"),
    ("II (2) G [Ex ia Ga] IIC", "category in parentheses does not go with"),
    ("II (1) D [Ex ia Ga] IIC", "group in the brackets does not go with"),
    ("[Ex ia Ga IIC", "not closed"),
    ("[Ex ia Ga] IIC Ga", "stands in the brackets"),
    ("[] IIC", "have no Ex"),
    ("[Ex Ga] IIC", "no known type of protection"),
    ("[Ex ia Ga]", "The group is missing"),
    ("Ex ia IIC T4 Ga +70 °C ≤ Ta ≤ -40 °C", "upper end above its lower end"),
    ("CL I, GP A, B, C, D", "not followed by a division or a zone"),
    ("IS CL I, DIV 3, GP A", "not followed by a division or a zone"),
    ("IS CL I, DIV 1, GP E T4", "Groups A to D belong to class I"),
    ("IS CL II, DIV 1, GP A T4", "Groups A to D belong to class I"),
    ("IS CL I, DIV 1 T4", "Class I has no group"),
    ("IS CL I, II, DIV 1, GP A, B T4", "Class II has no group"),
    ("IS CL I, DIV 1, GP A Ex ia IIC T4", "one by one"),
    ("CL I, Zone 0, AEx ia IIIC T135°C Da", "does not go with zone 0"),
    ("Zone 20 AEx ia IIC T4 Ga", "does not go with zone 20"),
    ("Class I Zone 0 AEx ib IIC T4 Gb", "not enough for zone 0"),
    ("Class II Zone 0 AEx ia IIC T4 Ga", "Zones 0 to 2 are of class I"),
    ("Ex ia IIC\u200b T4", "hidden character (U+200B)"),
    ("Ex ia IIC T٤", "not understood"),
    ("Ex ia " + " " * 300, "at most 300 characters"),
]


@pytest.mark.parametrize(("text", "says"), REFUSED, ids=[repr(row[0][:40]) for row in REFUSED])
def test_marking_is_refused_with_an_example_that_reads(text: str, says: str) -> None:
    with pytest.raises(MarkingError) as caught:
        parse_marking(text)
    assert says in str(caught.value)
    assert str(caught.value).endswith(f", for example {caught.value.example}.")
    parse_marking(caught.value.example)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"categories": ("1",), "atmospheres": ("G",)}, "no equipment group"),
        ({"equipment_group": "II"}, "not followed by a category"),
        ({"joint": "/"}, "one type of protection only"),
        ({"classes": ("I",)}, "not followed by a division or a zone"),
        ({"zone": "0", "divisions": ("1",)}, "one by one"),
        ({"protections": ("xx",)}, "no known type of protection"),
    ],
)
def test_a_marking_cannot_be_made_to_contradict_itself(fields: dict, says: str) -> None:
    with pytest.raises(MarkingError, match=says):
        Marking(**{"symbol": "Ex", "protections": ("ia",), "groups": ("IIC",), **fields})


def test_a_marking_by_divisions_needs_a_class_and_a_known_method() -> None:
    for fields in ({"methods": ("IS",)}, {"methods": ("YY",), "classes": ("I",), "hazard_groups": ("A",)}):
        with pytest.raises(MarkingError, match="method before it is unknown"):
            Marking(divisions=("1",), **fields)


def test_nothing_but_a_marking_error_comes_of_random_texts() -> None:
    for text in random_texts(30_000, seed=60079, longest=120):
        for read in (parse_marking, parse_certificate_number, parse_markings):
            try:
                assert read(text) is not None
            except MarkingError as error:
                assert error.example


@given(st.text(alphabet="ExiabcIIVABC123T4GDaM[]()/+. °C≤-:,LSPDVNZonegroupdivclFISOWsee-2p", max_size=60))
def test_any_marking_that_is_read_is_written_so_that_it_reads_back(text: str) -> None:
    try:
        read = parse_marking(text)
    except MarkingError:
        return
    assert parse_marking(write_marking(read)) == read


# --- there and back -----------------------------------------------------------------------------------------------

AIR = {"I": "M", "II": "G", "III": "D"}
GROUPS = {"M": ("I",), "G": ("IIA", "IIB", "IIC", "IIB+H2", "II"), "D": ("IIIA", "IIIB", "IIIC")}
DEGREES = st.integers(-60, 199).map(Decimal) | st.decimals(-60, 199, places=1).map(lambda value: value.normalize())
protections = st.lists(st.sampled_from(sorted(PROTECTIONS)), min_size=1, max_size=3).map(tuple)


@st.composite
def ambient_ranges(draw: st.DrawFn) -> dict[str, Decimal | None]:
    high = draw(st.none() | DEGREES)
    low = draw(st.none() | DEGREES) if high is not None else None
    assume(low is None or low < high)
    return {
        name: Decimal(f"{value:f}") if value is not None else None
        for name, value in (("ambient_min_degc", low), ("ambient_max_degc", high))
    }


@st.composite
def ex_markings(draw: st.DrawFn) -> Marking:
    air = draw(st.sampled_from("GDM"))
    groups = tuple(draw(st.lists(st.sampled_from(GROUPS[air]), min_size=1, max_size=2, unique=True)))
    levels = st.lists(st.sampled_from("abc"), max_size=2, unique=True)
    own = draw(st.just(()) | protections)
    brackets = draw(
        st.lists(
            st.builds(
                Associated,
                protections,
                st.just(()) | st.sampled_from(GROUPS[air]).map(lambda name: (name,)),
                levels.map(lambda names: tuple(air + name for name in names)),
            ),
            min_size=0 if own else 1,
            max_size=2,
        )
    )
    categories = st.sampled_from([("1",), ("2",), ("3",), ("1", "2")] if air != "M" else [("M1",), ("M2",)])
    prefixed = draw(st.booleans())
    atmospheres = st.just(()) if air == "M" else st.sampled_from([(air,), ("G", "D")])
    own_category = draw(categories) if prefixed and own else ()
    other_category = draw(categories) if prefixed and (brackets and (not own or draw(st.booleans()))) else ()
    try:
        return Marking(
            equipment_group="" if not prefixed else "I" if air == "M" else "II",
            categories=own_category,
            atmospheres=draw(atmospheres) if own_category else (),
            associated_categories=other_category,
            associated_atmospheres=draw(atmospheres) if other_category else (),
            symbol=draw(st.sampled_from(("Ex", "AEx", "EEx"))),
            notes=draw(st.sampled_from(((), ("FISCO power supply",), ("FISCO", "see drawing 7, sheet 2")))),
            protections=own,
            joint=draw(st.sampled_from(" /+")) if len(own) > 1 else " ",
            associated=tuple(brackets),
            groups=groups,
            temperature_classes=draw(st.sampled_from([(), ("T1",), ("T6",), ("T6", "T4")])) if air != "D" else (),
            surface_temperature_degc=draw(st.none() | st.integers(10, 999).map(Decimal)) if air == "D" else None,
            epl=tuple(air + name for name in draw(levels)) if own else (),
            ip=draw(st.sampled_from(("", "IP54", "IP6X", "IP69K"))),
            zone="",
            **draw(ambient_ranges()),
        )
    except MarkingError:
        assume(False)
        raise


@given(ex_markings())
def test_any_ex_marking_comes_back_as_it_went(made: Marking) -> None:
    assert parse_marking(write_marking(made)) == made


@st.composite
def division_markings(draw: st.DrawFn) -> Marking:
    classes = tuple(sorted(draw(st.sets(st.sampled_from(("I", "II", "III")), min_size=1))))
    letters = [draw(st.sets(st.sampled_from(LETTERS_OF_CLASS[name]), min_size=1)) for name in classes if name != "III"]
    return Marking(
        methods=tuple(draw(st.lists(st.sampled_from(METHODS), max_size=2, unique=True))),
        classes=classes,
        divisions=draw(st.sampled_from([("1",), ("2",), ("1", "2")])),
        hazard_groups=tuple(sorted(set().union(*letters))),
        temperature_classes=draw(st.sampled_from([(), ("T4",), ("T2D",), ("T3C",), ("T4A",)])),
        **draw(ambient_ranges()),
    )


@given(division_markings())
def test_any_marking_by_divisions_comes_back_as_it_went(made: Marking) -> None:
    assert parse_marking(write_marking(made)) == made


# --- compared with what was typed ---------------------------------------------------------------------------------


def test_fields_that_agree_with_the_marking_give_no_warning() -> None:
    device = parse_marking("Ex ia IIC T6...T4 Ga -40 °C ≤ Ta ≤ +70 °C")
    for name in ("T4", "T5", "T6"):
        assert not differences(
            device,
            side="device",
            level="ia",
            group="IIC",
            temperature_class=name,
            epl="Ga",
            ambient_min_degc=Decimal(-40),
            ambient_max_degc=Decimal(70),
        )
    assert not differences(
        parse_marking("Ex db [ia IIC Ga] IIB T6 Gb"), side="source", level="ia", group="IIC", epl="Ga"
    )
    assert not differences(parse_marking("IS CL I, DIV 1, GP C, D T4"), side="device", level="ia", group="IIB")
    assert not differences(device, side="device")


@pytest.mark.parametrize(
    ("text", "side", "typed", "says"),
    [
        ("Ex ib IIC T4 Gb", "device", {"level": "ia"}, "level is ia, the marking of the device says ib"),
        ("Ex ia IIC T4 Ga", "source", {"level": "ia"}, "level is ia, the marking of the source says none"),
        ("Ex ia IIB T4 Ga", "device", {"group": "IIC"}, "group is IIC, the marking says IIB"),
        ("Ex db [ia IIB Ga] IIC T6 Gb", "source", {"group": "IIC"}, "group is IIC, the marking says IIB"),
        ("IS CL I, DIV 1, GP C, D T4", "device", {"group": "A"}, "group is A, the marking says C, D"),
        ("Ex ia IIC T4 Ga", "device", {"temperature_class": "T6"}, "temperature class is T6, the marking says T4"),
        ("Ex ia IIC T4 Gb", "device", {"epl": "Ga"}, "EPL is Ga, the marking says Gb"),
        ("Ex ia IIC T4 Ga -20 °C ≤ Ta ≤ +60 °C", "device", {"ambient_min_degc": Decimal(-21)}, "begins at -21 degC"),
        ("Ex ia IIC T4 Ga -20 °C ≤ Ta ≤ +60 °C", "device", {"ambient_max_degc": Decimal(61)}, "ends at 61 degC"),
    ],
)
def test_a_field_that_differs_gives_one_warning(text: str, side: str, typed: dict, says: str) -> None:
    (warning,) = differences(parse_marking(text), side=side, **typed)
    assert says in warning


# --- certificate numbers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "written", "parts"),
    [
        # Printed in the loop calculation 16115CAL001 (P & I Design, 2017).
        ("BASEEFA 06 ATEX 0092", "BASEEFA 06 ATEX 0092", ("ATEX", "BASEEFA", 2006, "0092", "", None)),
        ("PTB 00 ATEX 2048 X", "PTB 00 ATEX 2048 X", ("ATEX", "PTB", 2000, "2048", "X", None)),
        # Printed in the manual IM 01R01B02 (2013), p. 10-8.
        ("IECEx PTB 11.0091X", "IECEx PTB 11.0091X", ("IECEx", "PTB", 2011, "0091", "X", None)),
        ("IECEx PTB 12.0020", "IECEx PTB 12.0020", ("IECEx", "PTB", 2012, "0020", "", None)),
        # Bodies of our own.
        ("EXA21ATEX0101X", "EXA 21 ATEX 0101 X", ("ATEX", "EXA", 2021, "0101", "X", None)),
        (" EXA  21 atex 0101u ", "EXA 21 ATEX 0101 U", ("ATEX", "EXA", 2021, "0101", "U", None)),
        ("exa 98 ATEX 1", "EXA 98 ATEX 1", ("ATEX", "EXA", 1998, "1", "", None)),
        ("EXB 08 ATEX E 063 X", "EXB 08 ATEX E063 X", ("ATEX", "EXB", 2008, "E063", "X", None)),
        ("ExB Nord 03 ATEX 2004/1", "ExB Nord 03 ATEX 2004/1", ("ATEX", "ExB Nord", 2003, "2004/1", "", None)),
        ("ÄXÖ 12 ATEX 095 X", "ÄXÖ 12 ATEX 095 X", ("ATEX", "ÄXÖ", 2012, "095", "X", None)),
        ("EXA21UKEX0101X Issue 0", "EXA 21 UKEX 0101 X issue 0", ("UKEX", "EXA", 2021, "0101", "X", 0)),
        ("iecex exb 19.0202 u, Issue No: 2", "IECEx EXB 19.0202U issue 2", ("IECEx", "EXB", 2019, "0202", "U", 2)),
        ("IECEx EXB 19.0202X (iss. 12)", "IECEx EXB 19.0202X issue 12", ("IECEx", "EXB", 2019, "0202", "X", 12)),
    ],
)
def test_certificate_number(text: str, written: str, parts: tuple[object, ...]) -> None:
    number = parse_certificate_number(text)
    assert (number.scheme, number.body, number.year, number.serial, number.suffix, number.issue) == parts
    assert str(number) == written
    assert parse_certificate_number(written) == number
    assert number.has_conditions == (number.suffix == "X")
    assert number.is_component == (number.suffix == "U")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "Write the certificate number"),
        ("123456", "not a certificate number"),
        ("EXA 0101 X", "not a certificate number"),
        ("EXA ATEX 0101", "two digits of the year"),
        ("21 ATEX 0101", "two digits of the year"),
        ("EXA 2021 ATEX 0101", "two digits of the year"),
        ("EXA 21 ATEX", "two digits of the year"),
        ("EXA 21 ATEX 0101 XU", "two digits of the year"),
        ("EXA 21 ATEX 0101 Y", "two digits of the year"),
        ("EXA ٢١ ATEX 0101", "two digits of the year"),
        ("EXA 21 U\u212aEX 0101", "two digits of the year"),
        ("IECEx EXA 21-0101", "a point and the serial"),
        ("IECEx 21.0101", "a point and the serial"),
        ("IECEx EXA 2021.0101", "a point and the serial"),
        ("EXA 21 ATEX 0101\u200b X", "hidden character"),
        ("EXA 21 ATEX " + "1" * 80, "at most 80 characters"),
    ],
)
def test_certificate_number_is_refused_with_an_example_that_reads(text: str, says: str) -> None:
    with pytest.raises(MarkingError) as caught:
        parse_certificate_number(text)
    assert says in str(caught.value)
    parse_certificate_number(caught.value.example)


@given(
    st.builds(
        CertificateNumber,
        scheme=st.sampled_from(("ATEX", "UKEX", "IECEx")),
        body=st.from_regex(r"[A-Z][A-Za-zÄÖÜ]{0,9}", fullmatch=True).filter(
            lambda body: not body.upper().endswith("EX")
        ),
        year=st.integers(1994, 2093),
        serial=st.from_regex(r"[0-9]{4,6}", fullmatch=True),
        suffix=st.sampled_from(("", "X", "U")),
        issue=st.none() | st.integers(0, 999),
    )
)
def test_any_certificate_number_comes_back_as_it_went(number: CertificateNumber) -> None:
    assert parse_certificate_number(str(number)) == number


def test_examples_in_the_modules_hold() -> None:
    for module in (marking, certificate_numbers):
        results = doctest.testmod(module)
        assert results.attempted >= 3
        assert not results.failed


@pytest.mark.parametrize("ambient", ["-20 °C ≤ Ta ≤ 40 °C", "-20°C <= Ta <= +40°C", "-20 °C to 40 °C", "-20°C...40°C"])
def test_a_cold_ambient_behind_a_surface_temperature_is_no_range(ambient: str) -> None:
    found = parse_marking(f"Ex ia IIIC T135°C {ambient}")
    assert (found.surface_temperature_degc, found.ambient_min_degc, found.ambient_max_degc) == (135, -20, 40)
