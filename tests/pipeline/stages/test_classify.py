from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from seamtell.features.contracts import Flaw, SeamTrace
from seamtell.models.limit_rule import apply_limit_rule
from seamtell.pipeline import classify as stage
from seamtell.pipeline.classify import classify
from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.workspace import Workspace

Trained = tuple[Workspace, TrainResult]
MakeTrace = Callable[[int], tuple[SeamTrace, str, float]]


def tables(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    return pd.read_parquet(folder / "indications.parquet"), pd.read_parquet(folder / "decisions.parquet")


def limit_verdicts(ws: Workspace) -> dict[str, str]:
    limits = read_limits(ws.limits_path)
    traces = SeamStore(ws.traces_dir).iter_traces()
    return {t.seam_id: apply_limit_rule(t, limits.get(t.recipe)).verdict.text for t in traces}


@pytest.fixture(scope="module")
def decided(
    trained: Trained, now: datetime, tmp_path_factory: pytest.TempPathFactory
) -> stage.ClassifyResult:
    return classify(trained[0], out=tmp_path_factory.mktemp("decided") / "out", now=now)


def test_indications_have_exactly_the_documented_columns_and_types(decided: stage.ClassifyResult) -> None:
    text, number = pa.string(), pa.float64()
    assert pq.read_table(decided.folder / "indications.parquet").schema.equals(
        pa.schema(
            [
                ("seam_id", text),
                ("indication", pa.int64()),
                ("start_mm", number),
                ("end_mm", number),
                ("peak_mm", number),
                ("exceeds_limit", pa.bool_()),
                ("height_share", number),
                ("label", text),
                ("p_pinhole", number),
                ("p_edge_notch", number),
                ("p_lack_of_fusion", number),
                ("p_mismatch", number),
                ("p_sound", number),
                ("label_set", text),
                ("novelty_p", number),
                ("reason", text),
            ]
        )
    )


def test_decisions_have_exactly_the_documented_columns_and_types(decided: stage.ClassifyResult) -> None:
    text = pa.string()
    assert pq.read_table(decided.folder / "decisions.parquet").schema.equals(
        pa.schema(
            [
                ("seam_id", text),
                ("verdict", text),
                ("limit_verdict", text),
                ("exceeded_channels", text),
                ("indications", pa.int64()),
                ("unclassified", pa.int64()),
                ("reason", text),
                ("model_digest", text),
            ]
        )
    )


def test_every_seam_has_one_decision_and_sound_ones_too(
    trained: Trained, decided: stage.ClassifyResult
) -> None:
    indications, decisions = tables(decided.folder)
    assert sorted(decisions["seam_id"]) == sorted(limit_verdicts(trained[0]))
    counted = indications.groupby("seam_id").size()
    assert decisions.set_index("seam_id")["indications"].to_dict() == {
        seam: int(counted.get(seam, 0)) for seam in decisions["seam_id"]
    }
    assert (decisions["indications"] == 0).sum() == 10


def test_the_limit_verdict_is_the_one_of_the_limit_rule_and_no_verdict_is_milder(
    trained: Trained, decided: stage.ClassifyResult
) -> None:
    _, decisions = tables(decided.folder)
    expected = limit_verdicts(trained[0])
    assert decisions.set_index("seam_id")["limit_verdict"].to_dict() == expected
    assert set(expected.values()) == {"accept", "reject"}
    rejected = decisions[decisions["limit_verdict"] == "reject"]
    assert (rejected["verdict"] == "reject").all()
    assert rejected["reason"].str.startswith("above_limit").all()


def test_a_lack_of_fusion_below_the_limit_goes_to_review_and_says_why(decided: stage.ClassifyResult) -> None:
    indications, decisions = tables(decided.folder)
    below = indications[(indications["label"] == "lack_of_fusion") & (indications["p_lack_of_fusion"] >= 0.5)]
    accepted = decisions[decisions["limit_verdict"] == "accept"].set_index("seam_id")
    seams = [seam for seam in below["seam_id"] if seam in accepted.index]
    assert seams
    assert (accepted.loc[seams, "verdict"] == "review").all()
    assert (accepted.loc[seams, "reason"] == "lack_of_fusion").all()


def test_labels_carry_a_distribution_and_a_set_of_one(decided: stage.ClassifyResult) -> None:
    indications, _ = tables(decided.folder)
    labelled = indications[indications["reason"] == ""]
    assert len(labelled) > 60
    np.testing.assert_allclose(labelled[[f"p_{f.value}" for f in Flaw]].sum(axis=1), 1.0, atol=1e-9)
    assert (labelled["label_set"] == labelled["label"]).all()


def test_the_same_input_and_model_give_the_same_bytes_apart_from_the_time(
    trained: Trained, decided: stage.ClassifyResult, tmp_path: Path, now: datetime
) -> None:
    again = classify(trained[0], out=tmp_path / "again", now=now.replace(year=2031))
    for name in ("indications.parquet", "decisions.parquet"):
        first_part, second_part = (f / name / "part-000000.parquet" for f in (decided.folder, again.folder))
        assert first_part.read_bytes() == second_part.read_bytes()
    first, second = (json.loads((f / "decision.json").read_bytes()) for f in (decided.folder, again.folder))
    assert first.pop("decided_at") != second.pop("decided_at")
    assert first == second


def test_the_batch_size_does_not_change_a_row(
    trained: Trained,
    decided: stage.ClassifyResult,
    tmp_path: Path,
    now: datetime,
) -> None:
    again = classify(trained[0], out=tmp_path / "again", batch_seams=17, now=now)
    for one, other in zip(tables(again.folder), tables(decided.folder), strict=True):
        pd.testing.assert_frame_equal(one, other)


def test_deciding_loads_neither_pandas_nor_what_the_readable_twin_needs(
    trained: Trained, tmp_path: Path, now: datetime
) -> None:
    code = (
        "import sys\n"
        "from datetime import datetime\n"
        "from pathlib import Path\n"
        "from seamtell.pipeline.classify import classify\n"
        "from seamtell.pipeline.workspace import Workspace\n"
        f"done = classify(Workspace(Path({str(trained[0].root)!r})), out=Path({str(tmp_path / 'out')!r}),\n"
        f"                now=datetime.fromisoformat({now.isoformat()!r}))\n"
        "assert done.record.model_id and done.record.counts.indications, done\n"
        "heavy = {'pandas', 'scipy.linalg', 'scipy.ndimage', 'lightgbm', 'sklearn'}\n"
        "loaded = heavy & set(sys.modules)\n"
        "assert not loaded, loaded\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_the_record_names_model_limits_software_time_and_counts(
    trained: Trained, decided: stage.ClassifyResult, now: datetime
) -> None:
    ws, model = trained
    record = json.loads((decided.folder / "decision.json").read_bytes())
    _, decisions = tables(decided.folder)
    assert record["model_digest"] == model.digest == decisions["model_digest"].unique().item()
    assert record["limits_digest"] == read_limits(ws.limits_path).digest
    assert datetime.fromisoformat(record["decided_at"]) == now
    assert record["software_version"]
    assert record["counts"]["verdicts"] == {
        name: int((decisions["verdict"] == name).sum()) for name in ("reject", "review", "accept")
    }


def test_the_input_digest_changes_with_the_seams(
    trained: Trained, decided: stage.ClassifyResult, tmp_path: Path, now: datetime
) -> None:
    other = classify(trained[0], seam_ids=["S0001"], out=tmp_path / "one", now=now)
    assert other.record.input_digest != decided.record.input_digest
    assert other.record.counts.seams == 1


def test_the_first_day_is_inside_and_the_moment_after_the_last_is_not(
    trained: Trained, tmp_path: Path, now: datetime
) -> None:
    ws, _ = trained
    since, until = datetime(2026, 2, 1, tzinfo=UTC), datetime(2026, 3, 1, tzinfo=UTC)
    result = classify(ws, since=since, until=until, out=tmp_path / "month", now=now)
    metadata = SeamStore(ws.traces_dir).metadata()
    expected = metadata[(metadata["welded_at"] >= since) & (metadata["welded_at"] < until)]["seam_id"]
    assert sorted(tables(result.folder)[1]["seam_id"]) == sorted(expected)


def test_a_choice_without_seams_names_the_days_there_are(trained: Trained, now: datetime) -> None:
    with pytest.raises(BadInput, match=r"choose between 2026-01-01 and 2026-04-0\d"):
        classify(trained[0], since=datetime(2030, 1, 1, tzinfo=UTC), now=now)


def test_an_unknown_seam_is_named(trained: Trained, now: datetime) -> None:
    with pytest.raises(BadInput, match=r"no seam '\.\./\.\./etc/passwd'"):
        classify(trained[0], seam_ids=["../../etc/passwd"], now=now)


def test_an_empty_store_says_to_ingest(tmp_path: Path, now: datetime) -> None:
    ws = init_workspace(tmp_path / "ws")
    with pytest.raises(BadInput, match="seamtell ingest"):
        classify(ws, now=now)


def test_decisions_are_never_overwritten(trained: Trained, tmp_path: Path, now: datetime) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(BadInput, match="not an empty folder"):
        classify(trained[0], out=tmp_path, now=now)
    assert [p.name for p in tmp_path.iterdir()] == ["notes.txt"]


def test_an_empty_folder_may_be_filled(trained: Trained, tmp_path: Path, now: datetime) -> None:
    result = classify(trained[0], seam_ids=["S0001"], out=tmp_path, now=now)
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "decision.json",
        "decisions.parquet",
        "indications.parquet",
    ]
    assert result.folder == tmp_path


@pytest.mark.parametrize("full_after", [0, 1, 2, 3, 4])
def test_a_full_disk_leaves_no_half_decisions_at_whatever_write_it_comes(
    trained: Trained, tmp_path: Path, now: datetime, monkeypatch: pytest.MonkeyPatch, full_after: int
) -> None:
    left = [full_after]

    def full_at_last(real: Callable[..., object]) -> Callable[..., object]:
        def write(*args: object, **kwargs: object) -> object:
            left[0] -= 1
            if left[0] < 0:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            return real(*args, **kwargs)

        return write

    monkeypatch.setattr(pq.ParquetWriter, "write_table", full_at_last(pq.ParquetWriter.write_table))
    monkeypatch.setattr(os, "fsync", full_at_last(os.fsync))
    with pytest.raises(StorageProblem, match="the disk is full"):
        classify(trained[0], seam_ids=["S0001", "S0002"], out=tmp_path / "out", now=now)
    assert not list(tmp_path.iterdir())


def test_an_output_below_a_file_is_one_line(trained: Trained, tmp_path: Path, now: datetime) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(
        StorageProblem, match=r"part of this path is a file, not a folder\. To do: choose another place"
    ):
        classify(trained[0], out=tmp_path / "file" / "out", now=now)


def fallback(ws: Workspace, tmp_path: Path, now: datetime, reason: str) -> stage.ClassifyResult:
    """Classify, and check that the limit rule decided alone for `reason`."""
    until = datetime(2026, 1, 25, tzinfo=UTC)
    result = classify(ws, until=until, out=tmp_path / "out", now=now)
    indications, decisions = tables(result.folder)
    assert len(decisions) == 32
    assert result.record.model_reason == reason
    assert set(indications["label"]) == {"unclassified"}
    assert set(indications["reason"]) == {reason}
    assert indications[["p_pinhole", "p_sound", "novelty_p"]].isna().all().all()
    assert decisions["reason"].str.contains(reason).all()
    assert (decisions["verdict"] == decisions["limit_verdict"]).all()
    assert set(decisions["model_digest"]) == {""}
    return result


def test_without_an_approved_model_the_limit_rule_decides_alone_and_says_why(
    shop_copy: Workspace, tmp_path: Path, now: datetime
) -> None:
    shop_copy.log_path.unlink()
    result = fallback(shop_copy, tmp_path, now, "no_approved_model")
    assert "no model is approved" in result.explanation


def test_with_a_broken_approval_log_the_limit_rule_decides_alone(
    shop_copy: Workspace, tmp_path: Path, now: datetime
) -> None:
    text = shop_copy.log_path.read_text()
    shop_copy.log_path.write_text(text.replace("A. Tester", "B. Tester"))
    result = fallback(shop_copy, tmp_path, now, "no_approved_model")
    assert "approvals.jsonl" in result.explanation
    assert "altered" in result.explanation


@pytest.mark.parametrize(
    "name", ["candidates/lightgbm.txt", "conformal.json", "model_card.json", "digests.json"]
)
def test_with_one_byte_of_the_model_changed_the_limit_rule_decides_alone(
    shop_copy: Workspace, tmp_path: Path, now: datetime, name: str
) -> None:
    path = shop_copy.models_dir / "m-0001" / name
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    result = fallback(shop_copy, tmp_path, now, "model_digest_mismatch")
    assert name in result.explanation


def test_a_missing_model_folder_leaves_the_limit_rule_alone(
    shop_copy: Workspace, tmp_path: Path, now: datetime
) -> None:
    (shop_copy.models_dir / "m-0001").rename(shop_copy.models_dir / "elsewhere")
    fallback(shop_copy, tmp_path, now, "model_digest_mismatch")


def test_a_model_other_than_the_approved_one_in_its_folder_is_not_used(
    shop_copy: Workspace,
    tmp_path: Path,
    now: datetime,
    approve_quietly: Callable[[Workspace, str, str], None],
) -> None:
    approve_quietly(shop_copy, "m-0001", "0" * 64)
    result = fallback(shop_copy, tmp_path, now, "model_digest_mismatch")
    assert "not the model that was approved" in result.explanation


def test_a_model_of_other_descriptor_definitions_is_not_used(
    trained: Trained, tmp_path: Path, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    from seamtell.features.descriptors import registry

    monkeypatch.setattr(registry, "schema_digest", lambda: "f" * 64)
    fallback(trained[0], tmp_path, now, "schema_mismatch")


def test_a_recipe_without_limits_is_rejected_and_counted(
    trained: Trained, shop_copy: Workspace, tmp_path: Path, now: datetime, approve_quietly
) -> None:
    shop_copy.limits_path.write_text(shop_copy.limits_path.read_text().replace("recipe.R1", "recipe.R2"))
    approve_quietly(shop_copy, trained[1].model_id, trained[1].digest)
    result = classify(shop_copy, out=tmp_path / "out", now=now)
    _, decisions = tables(result.folder)
    assert set(decisions["verdict"]) == {"reject"}
    assert set(decisions["reason"]) == {"no_limits_for_recipe"}
    assert result.seams_without_limits == {"R1": 130}


def test_a_recipe_that_the_model_never_saw_stays_unclassified(
    trained: Trained,
    shop_copy: Workspace,
    tmp_path: Path,
    now: datetime,
    make_trace: MakeTrace,
    approve_quietly,
) -> None:
    text = shop_copy.limits_path.read_text()
    shop_copy.limits_path.write_text(
        text + text[text.index("[recipe.R1]") :].replace("recipe.R1", "recipe.R2")
    )
    approve_quietly(shop_copy, trained[1].model_id, trained[1].digest)
    writer = StoreWriter(shop_copy.traces_dir)
    writer.add(replace(make_trace(501)[0], recipe="R2"), "made in the test")
    writer.commit()
    result = classify(shop_copy, seam_ids=["S0501", "S0001"], out=tmp_path / "out", now=now)
    indications, _ = tables(result.folder)
    assert indications.set_index("seam_id")["reason"].to_dict() == {
        "S0001": "",
        "S0501": "recipe_outside_domain",
    }


def test_a_seam_with_two_differing_traces_is_never_better_than_review_and_never_labelled(
    trained: Trained, tmp_path: Path, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    verdicts = limit_verdicts(trained[0])
    quiet = "S0000"
    rejected = next(seam for seam, verdict in verdicts.items() if verdict == "reject")
    monkeypatch.setattr(SeamStore, "conflicts", lambda _: frozenset({quiet, rejected}))
    result = classify(trained[0], out=tmp_path / "out", now=now)
    indications, decisions = tables(result.folder)
    by_seam = decisions.set_index("seam_id")
    assert by_seam.loc[quiet, "verdict"] == "review"
    assert by_seam.loc[quiet, "reason"] == "conflicting_traces"
    assert by_seam.loc[rejected, "verdict"] == "reject"
    assert by_seam.loc[rejected, "reason"] == "above_limit+conflicting_traces"
    assert set(indications.loc[indications["seam_id"] == rejected, "reason"]) == {"conflicting_traces"}
    assert sorted(result.conflicts) == sorted([quiet, rejected])


def test_decisions_go_to_a_folder_named_by_the_time_when_no_other_is_said(
    shop_copy: Workspace, now: datetime
) -> None:
    result = classify(shop_copy, seam_ids=["S0001"], now=now)
    assert result.folder == shop_copy.decisions_dir / "20260504T030201Z"
