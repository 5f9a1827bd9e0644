"""Pairs, curves and studies come back as they were kept, struck ones too."""

from __future__ import annotations

import pytest

from workbench.errors import InputError, RecordsError
from workbench.records.store import rows
from workbench.records.store.rows import (
    JobTerms,
    RideNote,
    Study,
    StudyReading,
    Temperature,
    WingSetting,
)

from .conftest import Shop


def test_a_study_comes_back_with_its_plan_and_readings(shop: Shop) -> None:
    """Parts, people and the shuffled order are kept as they were given."""
    book = shop.book
    study = book.add_entry(
        "KL",
        Study(
            name="slow hour",
            what="tail, tips",
            unit="mm",
            parts=("one", "two; with, signs"),
            people=("KL", "RB"),
            trials=1,
            sequence=((0, 0, 0), (1, 1, 0), (1, 0, 0), (0, 1, 0)),
        ),
    )
    reading = book.add_entry(
        "KL",
        StudyReading(
            study_id=study.id, part="one", person="KL", trial=0, text="18.5", unit="mm", mm=18.5
        ),
    )
    assert book.studies() == (study,) == (book.study(study.id),)
    assert book.study_readings(study.id) == (reading,)
    strike = book.strike(reading.id, "wrong ski", "KL")
    (kept,) = book.study_readings(study.id)
    assert kept.struck == strike


def test_a_study_without_trials_is_refused(shop: Shop) -> None:
    """The book names the field."""
    with pytest.raises(InputError, match="trials"):
        shop.book.add_entry(
            "KL", Study(name="", what="", unit="mm", parts=(), people=(), trials=0, sequence=())
        )


def test_unknown_entries_are_told(shop: Shop) -> None:
    """A study that is not there is an error, its readings are none."""
    with pytest.raises(RecordsError, match="gone"):
        shop.book.study("gone")
    assert shop.book.study_readings("gone") == ()


def test_facts_of_the_whole_day_come_back(shop: Shop) -> None:
    """Ride notes with their complaints, a wing with its hold, a temperature and its readings."""
    book, job = shop.book, shop.job.id
    ride = book.add_fact(
        job,
        "KL",
        RideNote(
            text="tail let go at four ball",
            rider="Ida",
            water="17 C",
            water_c=17.0,
            complaints=("tail_slides", "too_slow"),
            rating=3,
        ),
    )
    wing = book.add_fact(
        job, "KL", rows.WingSetting(text="7.5", angle_deg=7.5, hold="rear", gauge="blue set")
    )
    warm = book.add_fact(
        job,
        "KL",
        Temperature(
            text="88",
            unit="F",
            blade_c=31.1,
            caliper_c=31.1,
            blade_material="aluminium",
            caliper_material="steel",
        ),
    )
    facts = book.facts(job)
    assert [f for f in facts if isinstance(f, RideNote)] == [ride]
    assert [f for f in facts if isinstance(f, WingSetting)] == [wing]
    assert [f for f in facts if isinstance(f, Temperature)] == [warm]
    with pytest.raises(InputError, match="rating"):
        book.add_fact(job, "KL", RideNote(text="", rating=9))


def test_a_recheck_is_a_job_of_its_own_kind(shop: Shop) -> None:
    """Kind and note travel with the job into the day's queue."""
    job = shop.book.add_job(
        shop.ski.id, "2026-11-26", how=JobTerms("recheck", "after the first ride")
    )
    (item,) = shop.book.day_queue("2026-11-26")
    assert item.job == job
    assert (job.kind, job.note) == ("recheck", "after the first ride")
