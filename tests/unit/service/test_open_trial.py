"""What viewers are told of a running trial, while a person sets events in it."""

from dataclasses import replace

from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.service.open_trial import OpenTrial, how, key
from emberline.store.records import Trial
from emberline.trials.corrections import AddEvent, Correction, DeleteEvent, Target, Undo

TRIAL = Trial("2025-11-25-1", "yard", None, "live", None, 0, None, "UTC", False, (), 0, "", 'label = "chips"\n')
LIT = Event(EventKind.LIT, 60.0, 2.0, "mass falls", announced_t_s=75.0)
BOIL = Event(EventKind.BOIL, 300.0, 2.0, "curve", announced_t_s=310.0)
NOTE = Event(EventKind.NOTE, 100.0, 1.0, "wind", announced_t_s=100.0, by_person=True)
BACK = Retraction(EventKind.FLAMEOUT, 400.0, 420.0, "it burns again")
STAMPED = Correction(1, 320 * 10**9, "Ana", "", AddEvent(EventKind.BOIL, 320.0, 1.0))


def trial(*saved: Event) -> OpenTrial:
    return OpenTrial.of(TRIAL, saved, [BACK], [])


def test_what_was_saved_is_known_and_told_in_the_order_of_its_moments() -> None:
    opened = trial(LIT, NOTE, BOIL)
    assert (opened.label, opened.notes, opened.announced) == ("chips", [NOTE], (LIT, BOIL))
    assert opened.told() == [LIT, NOTE, BOIL, BACK]
    later = replace(LIT, t_s=62.0, revised_t_s=120.0)
    assert opened.unknown([LIT, later, BACK]) == [later]
    assert OpenTrial.of(replace(TRIAL, label="bark"), [], [], []).label == "bark"


def test_a_persons_event_goes_before_what_is_found_in_its_place() -> None:
    opened = trial(LIT, BOIL)
    gone, stamped = opened.correct(TRIAL, [STAMPED], "Ana changed it", 321.0)
    assert gone == Retraction(EventKind.BOIL, 310.0, 321.0, "Ana changed it")
    assert isinstance(stamped, Event)
    assert (stamped.t_s, stamped.announced_t_s, stamped.by_person) == (320.0, 320.0, True)
    found = replace(BOIL, t_s=305.0, revised_t_s=330.0)
    opened.announced = (LIT, found)
    assert opened.to_be_told([LIT, found, NOTE, BACK]) == [LIT, NOTE, BACK]
    # Taken back, what was found is told after all.
    undone = [STAMPED, Correction(2, 0, "Ana", "", Undo(1))]
    assert opened.correct(TRIAL, undone, "Ana changed it", 340.0)[-1] == found


def test_the_phase_follows_what_a_person_says_of_the_fire() -> None:
    def said(kind: EventKind, t_s: float) -> Correction:
        return Correction(1, round(t_s * 1e9), "Ana", "", AddEvent(kind, t_s, 1.0))

    opened = trial()
    assert opened.phase(Phase.WAITING) is Phase.WAITING
    opened.log = [said(EventKind.LIT, 50.0)]
    assert opened.phase(Phase.WAITING) is Phase.FLAMING
    # What says nothing of the fire changes nothing.
    opened.log = [STAMPED]
    assert opened.phase(Phase.WAITING) is Phase.WAITING
    burning = trial(LIT, BOIL)
    assert burning.phase(Phase.FLAMING) is Phase.FLAMING
    burning.log = [said(EventKind.FLAMEOUT, 900.0)]
    assert burning.phase(Phase.FLAMING) is Phase.CHAR
    burning.log = [Correction(1, 0, "Ana", "the lid", DeleteEvent(Target(EventKind.LIT, LIT.t_s)))]
    assert burning.phase(Phase.FLAMING) is Phase.WAITING


def test_a_flameout_that_a_person_takes_back_is_burning_again_also_where_nothing_was_lit() -> None:
    out = Event(EventKind.FLAMEOUT, 800.0, 5.0, "rate fell", announced_t_s=840.0)
    taken_back = Correction(1, 0, "Ana", "a gust", DeleteEvent(Target(EventKind.FLAMEOUT, out.t_s)))
    for saved in ([LIT, out], [out]):
        opened = trial(*saved)
        assert opened.phase(Phase.CHAR) is Phase.CHAR
        opened.log = [taken_back]
        assert opened.phase(Phase.CHAR) is Phase.FLAMING


def test_a_flameout_that_only_a_person_saw_ends_the_trial_and_one_that_was_taken_back_does_not() -> None:
    end_ns, out = (800 + 1_800) * 10**9, Event(EventKind.FLAMEOUT, 800.0, 5.0, "rate fell", announced_t_s=840.0)
    bench = replace(TRIAL, bench_text='[[channel]]\nrole = "mass"\n')
    found = OpenTrial.of(bench, [LIT, out], [], [])
    assert found.end_ns(end_ns, 2_600.0) == end_ns
    found.log = [Correction(1, 0, "Ana", "a gust", DeleteEvent(Target(EventKind.FLAMEOUT, out.t_s)))]
    assert found.end_ns(end_ns, 2_600.0) is None
    # The fire of a new batch ends it all the same.
    assert found.end_ns(1_500 * 10**9, 1_600.0) == 1_500 * 10**9
    seen = OpenTrial.of(bench, [LIT], [], [Correction(1, 0, "Ana", "", AddEvent(EventKind.FLAMEOUT, 800.0, 1.0))])
    assert seen.end_ns(None, 2_599.0) is None
    assert seen.end_ns(None, 2_600.0) == end_ns
    assert OpenTrial.of(bench, [LIT], [], []).end_ns(None, 9_000.0) is None


def test_a_changed_plan_brings_its_label() -> None:
    opened = trial()
    assert opened.correct(replace(TRIAL, plan_text='label = "bark"\n'), [], "", 0.0) == []
    assert opened.label == "bark"


def test_sayings_have_names_and_are_told_apart() -> None:
    assert key(BACK) == (EventKind.FLAMEOUT, 400.0, 420.0)
    assert (how(LIT), how(replace(LIT, revised_t_s=90.0)), how(BACK)) == ("", " is revised", " is taken back")
