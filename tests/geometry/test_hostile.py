"""Hostile files over every reader, the short form of `tests/benchmarks/hostile.py`: an answer or a refusal, no more."""

import time
from contextlib import suppress

import pytest

from register.domain.texts import shown
from register.errors import DoesNotFit, RegisterError
from tests.hostile_designs import DESIGNED
from tests.hostile_files import READERS, hostile_file

FILES = 40
# The long form takes these too; each holds up a slow machine for a second or more.
LONG_FORM_ALONE_BYTES = 400_000
LIMIT_S = 5.0


@pytest.mark.parametrize("name", READERS)
def test_damaged_file_is_read_or_refused_in_two_sentences(name: str) -> None:
    refusals = 0
    first = len(DESIGNED[name])
    for number in range(first, first + FILES):
        content = hostile_file(name, number)
        if len(content) > LONG_FORM_ALONE_BYTES:
            continue
        began = time.process_time()
        try:
            READERS[name].read(content)
        except RegisterError as refusal:
            assert type(refusal) is not RegisterError and refusal.what and refusal.cure, (name, number)
            assert [shown(refusal.what), shown(refusal.cure)] == [refusal.what, refusal.cure], (name, number)
            refusals += 1
        assert time.process_time() - began < LIMIT_S, (name, number)
    assert refusals > 0


@pytest.mark.parametrize("name", READERS)
def test_sound_file_that_the_damaged_ones_are_made_from_is_read(name: str) -> None:
    seeds = READERS[name].seeds()
    for seed in (seeds[0], seeds[-1]):
        # One of them is drawn in another unit, so large that it is read and fits no printer.
        with suppress(DoesNotFit):
            READERS[name].read(seed)


def test_files_of_a_run_are_always_the_same_and_those_of_another_run_are_others() -> None:
    for name in READERS:
        numbers = range(len(DESIGNED[name]), len(DESIGNED[name]) + 8)
        first, again, other = ([hostile_file(name, number, run) for number in numbers] for run in (0, 0, 1))
        assert first == again != other
