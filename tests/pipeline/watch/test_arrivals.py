from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from seamtell.pipeline.watch.arrivals import MOST_WAITING, Arrivals
from seamtell.pipeline.watch.notifications import Notifications
from seamtell.pipeline.watch.trace_files import FileStamp


def unknown(path: Path, stamp: FileStamp) -> bool:
    return False


@pytest.fixture
def watched(tmp_path: Path) -> Callable[..., Arrivals]:
    folder = tmp_path / "in"
    folder.mkdir()

    def make(**settings: float) -> Arrivals:
        return Arrivals(folder, unknown, **{"settle_s": 0.1, "poll_s": 60.0, **settings})  # type: ignore[arg-type]

    return make


@pytest.fixture
def deaf(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file system that gives no notification, such as a network mount."""
    monkeypatch.setattr(Notifications, "start", lambda self: None)


def names(arrivals: Arrivals, timeout_s: float = 2.0) -> list[str]:
    return [one.path.name for one in arrivals.take(100, timeout_s)]


def names_of(count: int, arrivals: Arrivals, timeout_s: float = 2.0) -> list[str]:
    """Of several takes: files that are found one after the other become complete one after the other."""
    until, found = time.perf_counter() + timeout_s, list[str]()
    while len(found) < count and (left := until - time.perf_counter()) > 0:
        found += names(arrivals, left)
    return found


def test_files_that_were_there_at_the_start_are_taken_by_name(watched: Callable[..., Arrivals]) -> None:
    arrivals = watched()
    for name in ("b.csv", "a.csv", "c.parquet"):
        (arrivals.folder / name).touch()
    with arrivals:
        assert names_of(3, arrivals) == ["a.csv", "b.csv", "c.parquet"]


def test_a_file_moved_in_from_elsewhere_is_taken_at_once(
    watched: Callable[..., Arrivals], tmp_path: Path
) -> None:
    (tmp_path / "a.csv").write_text("x")
    with watched(settle_s=30.0) as arrivals:
        (tmp_path / "a.csv").rename(arrivals.folder / "a.csv")
        assert names(arrivals) == ["a.csv"]


def test_a_file_that_its_writer_holds_open_is_not_taken_before_it_is_closed(
    watched: Callable[..., Arrivals],
) -> None:
    with watched(settle_s=0.1) as arrivals:
        with (arrivals.folder / "a.csv").open("w") as stream:
            stream.write("half")
            stream.flush()
            assert names(arrivals, 0.4) == []
        assert names(arrivals) == ["a.csv"]


def test_with_patience_a_file_that_is_closed_and_opened_again_is_taken_whole(
    watched: Callable[..., Arrivals],
) -> None:
    with watched(settle_s=0.4, patient=True) as arrivals:
        for _ in range(5):
            with (arrivals.folder / "a.csv").open("a") as stream:
                stream.write("some")
            assert names(arrivals, 0.15) == []
        (taken,) = arrivals.take(10, 2.0)
    assert taken.stamp.size == 20


@pytest.mark.usefixtures("deaf")
def test_without_notifications_a_file_that_grows_is_left_until_it_rests(
    watched: Callable[..., Arrivals],
) -> None:
    with watched(settle_s=0.3, poll_s=0.05) as arrivals, (arrivals.folder / "a.csv").open("w") as stream:
        for _ in range(8):
            stream.write("more")
            stream.flush()
            assert names(arrivals, 0.1) == []
        assert names(arrivals) == ["a.csv"]


@pytest.mark.usefixtures("deaf")
def test_the_age_of_a_file_does_not_make_it_complete(watched: Callable[..., Arrivals]) -> None:
    # The clock of a file server may stand hours behind.
    arrivals = watched(settle_s=0.3)
    path = arrivals.folder / "a.csv"
    path.touch()
    os.utime(path, (0, 0))
    with arrivals:
        assert names(arrivals, 0.15) == []
        assert names(arrivals) == ["a.csv"]


def test_names_of_unfinished_files_and_folders_are_passed_over(watched: Callable[..., Arrivals]) -> None:
    arrivals = watched()
    for name in (".a.csv", "~a.csv", "a.csv.part", "a.tmp", "a.csv"):
        (arrivals.folder / name).touch()
    (arrivals.folder / "folder.csv").mkdir()
    os.mkfifo(arrivals.folder / "pipe.csv")
    with arrivals:
        assert names(arrivals) == ["a.csv"]
        assert names(arrivals, 0.3) == []


def test_a_temporary_name_that_becomes_a_final_one_is_taken(watched: Callable[..., Arrivals]) -> None:
    with watched(settle_s=30.0) as arrivals:
        (arrivals.folder / "a.csv.part").write_text("x")
        (arrivals.folder / "a.csv.part").rename(arrivals.folder / "a.csv")
        assert names(arrivals) == ["a.csv"]


@pytest.mark.parametrize(("recursive", "expected"), [(True, ["a.csv"]), (False, [])])
def test_folders_below_count_when_asked_for(
    watched: Callable[..., Arrivals], recursive: bool, expected: list[str]
) -> None:
    arrivals = watched(recursive=recursive)
    (arrivals.folder / "line 1").mkdir()
    (arrivals.folder / "line 1" / "a.csv").touch()
    with arrivals:
        assert names(arrivals, 0.5) == expected


def test_a_burst_is_held_back_at_a_bound_and_all_of_it_is_taken(watched: Callable[..., Arrivals]) -> None:
    done: set[Path] = set()
    arrivals = watched(poll_s=0.1, settle_s=0.05)
    arrivals._known = lambda path, _: path in done
    n = 2 * MOST_WAITING + 500
    with arrivals:
        for i in range(n):
            (arrivals.folder / f"{i:05d}.csv").touch()
        until = time.monotonic() + 20
        most = 0
        while len(done) < n and time.monotonic() < until:
            most = max(most, arrivals.waiting)
            done.update(one.path for one in arrivals.take(64, 0.2))
    assert len(done) == n
    assert most <= 2 * MOST_WAITING


def test_a_folder_that_goes_away_and_comes_back_is_watched_again(watched: Callable[..., Arrivals]) -> None:
    with watched(poll_s=0.05) as arrivals:
        arrivals.folder.rmdir()
        until = time.monotonic() + 5
        while not arrivals.folder_is_gone and time.monotonic() < until:
            arrivals.take(1, 0.05)
        assert arrivals.folder_is_gone
        arrivals.folder.mkdir()
        (arrivals.folder / "a.csv").touch()
        assert names(arrivals, 5.0) == ["a.csv"]
        assert not arrivals.folder_is_gone
