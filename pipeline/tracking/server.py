"""What seamtell does on an MLflow server; the only module that talks to MLflow.

The server is ``MLFLOW_TRACKING_URI`` when that is set, else a SQLite file in the
workspace. Calls fail fast, print nothing, send no telemetry and leave MLflow's own
global settings and the environment as they were.
"""

from __future__ import annotations

import logging
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import Any

from seamtell.pipeline.settings import TrackSettings
from seamtell.pipeline.tracking.mlflow_noise import without_mlflow_noise
from seamtell.pipeline.tracking.outbox import ItemKind, SpooledItem, Waiting
from seamtell.pipeline.workspace import Workspace

__all__ = ["NotSent", "ServerProblem", "TrackingServer", "load_pyfunc", "registry_aliases", "tracking_server"]

_MODEL_NAME = "flaw_model"
_SPOOL_TAG = "seamtell.spool_id"
_DIGEST_TAG = "seamtell.model_digest"
_MODEL_TAG = "seamtell.model_id"
_PHYSICS_ONLY = "physics_only"

# A server that is down must cost seconds, and standard output belongs to us; what the user set wins.
_DURING_CALLS = {
    "MLFLOW_HTTP_REQUEST_MAX_RETRIES": "0",
    "MLFLOW_HTTP_REQUEST_TIMEOUT": "10",
    "MLFLOW_SUPPRESS_PRINTING_URL_TO_STDOUT": "true",
}
_RESTORED = (*_DURING_CALLS, "MLFLOW_TRACKING_URI", "MLFLOW_REGISTRY_URI")


class ServerProblem(Exception):
    """The server cannot be reached or refuses; said in one line."""


class NotSent(Exception):
    """One item is not to be sent, whatever the server; said in one line."""


def server_uri(ws: Workspace) -> str:
    """Server in use: ``MLFLOW_TRACKING_URI``, else the SQLite file of the workspace."""
    return os.environ.get("MLFLOW_TRACKING_URI") or _own_store(ws)


def _own_store(ws: Workspace) -> str:
    return f"sqlite:///{(ws.tracking_dir / 'mlflow.db').as_posix()}"


@contextmanager
def _quiet_mlflow(uri: str) -> Iterator[Any]:
    """Lend MLflow, pointed at `uri`, with its noise off and short timeouts; put everything back after."""
    before = {name: os.environ.get(name) for name in _RESTORED}
    for name, value in _DURING_CALLS.items():
        os.environ.setdefault(name, value)
    with without_mlflow_noise():
        mlflow: Any = import_module("mlflow")
        from mlflow.utils.logging_utils import MLFLOW_LOGGING_STREAM
        from sqlalchemy.exc import SQLAlchemyError

        loud = MLFLOW_LOGGING_STREAM.enabled
        levels = {name: logging.getLogger(name).level for name in ("mlflow", "alembic")}
        # The tracking address of a caller who uses MLflow for something else must survive us.
        own = mlflow.tracking._tracking_service.utils._tracking_uri
        own_registry = mlflow.tracking._model_registry.utils._registry_uri
        MLFLOW_LOGGING_STREAM.enabled = False
        for name in levels:
            logging.getLogger(name).setLevel(logging.CRITICAL)
        try:
            mlflow.set_tracking_uri(uri)
            mlflow.set_registry_uri(uri)
            yield mlflow
        except (mlflow.exceptions.MlflowException, SQLAlchemyError, OSError) as problem:
            raise ServerProblem(f"{_without_password(uri)}: {_first_line(problem)}") from problem
        finally:
            mlflow.set_tracking_uri(own)
            mlflow.set_registry_uri(own_registry)
            MLFLOW_LOGGING_STREAM.enabled = loud
            for name, level in levels.items():
                logging.getLogger(name).setLevel(level)
            for name, old in before.items():
                if old is None:
                    os.environ.pop(name, None)
                else:
                    os.environ[name] = old


def _first_line(problem: BaseException) -> str:
    lines = str(problem).strip().splitlines()
    return _without_password(lines[0])[:200] if lines else type(problem).__name__


def _without_password(text: str) -> str:
    """Text as it may be printed and kept: no user name or password in any address."""
    return re.sub(r"://[^/@\s]+@", "://", text)


@contextmanager
def tracking_server(ws: Workspace, track: TrackSettings) -> Iterator[TrackingServer]:
    """Open the server in use.

    Raises
    ------
    ServerProblem
        It cannot be reached, or a call fails.
    """
    uri = server_uri(ws)
    with _quiet_mlflow(uri) as mlflow:
        yield TrackingServer(mlflow, uri, ws, track)


def load_pyfunc(ws: Workspace, track: TrackSettings, alias: str) -> Any:
    """Load the registered model that `alias` points at.

    Raises
    ------
    ServerProblem
        No server, no such model or alias.
    """
    with _quiet_mlflow(server_uri(ws)) as mlflow:
        return mlflow.pyfunc.load_model(f"models:/{track.registered_model}@{alias}")


def registry_aliases(ws: Workspace, track: TrackSettings) -> dict[str, str] | None:
    """Alias to the digest of the model it points at, by looking only; None when there is no registry yet.

    Raises
    ------
    ServerProblem
        It cannot be reached.
    """
    uri = server_uri(ws)
    if uri == _own_store(ws) and not (ws.tracking_dir / "mlflow.db").is_file():
        return None
    with _quiet_mlflow(uri) as mlflow:
        return _alias_digests(mlflow.MlflowClient(uri, uri), track.registered_model)


def _alias_digests(client: Any, name: str) -> dict[str, str]:
    if not client.search_registered_models(f"name = '{name}'"):
        return {}
    aliases = client.get_registered_model(name).aliases
    versions = {alias: client.get_model_version(name, version) for alias, version in aliases.items()}
    return {alias: str(version.tags.get(_DIGEST_TAG, "")) for alias, version in versions.items()}


class TrackingServer:
    """An open MLflow server, in the words of seamtell.

    Parameters
    ----------
    mlflow : module
    uri : str
    ws : Workspace
        Where the model folders lie.
    track : TrackSettings
    """

    def __init__(self, mlflow: Any, uri: str, ws: Workspace, track: TrackSettings) -> None:
        self._mlflow = mlflow
        self._ws = ws
        self._track = track
        self._client = mlflow.MlflowClient(uri, uri)
        self.name = _without_password(uri)
        self._experiment_id = self._find_or_make_experiment(
            local=uri.startswith("sqlite:"), own=uri == _own_store(ws)
        )

    def deliver(self, waiting: Waiting) -> str:
        """Bring one item to the server; an item that is already there is left as it is.

        Returns
        -------
        str
            Id of the run that holds it.

        Raises
        ------
        NotSent
            Its model is not the one that was trained.
        """
        item = waiting.item
        if item.kind is ItemKind.TRAINING:
            return self._deliver_training(waiting)
        run_id = self._run_of_model(item)
        if item.kind is ItemKind.EVALUATION:
            self._log(run_id, waiting)
        else:
            version = self._version(item) or self._register(run_id, item)
            self._client.set_registered_model_alias(self._track.registered_model, item.alias, version)
        return run_id

    def alias_digests(self) -> dict[str, str]:
        """Alias of the registered model to the digest of the model it points at."""
        return _alias_digests(self._client, self._track.registered_model)

    def drop_alias(self, alias: str) -> None:
        """Take an alias away."""
        self._client.delete_registered_model_alias(self._track.registered_model, alias)

    def _deliver_training(self, waiting: Waiting) -> str:
        item = waiting.item
        run = self._find_run(f"tags.`{_SPOOL_TAG}` = '{item.spool_id}'")
        if run is not None and run.info.status == "FINISHED":
            return str(run.info.run_id)
        run_id = str(run.info.run_id) if run is not None else self._make_run(item)
        self._log(run_id, waiting)
        version = self._version(item) or self._register(run_id, item)
        self._client.set_registered_model_alias(self._track.registered_model, item.alias, version)
        # Last, so that a run cut short is taken up again by the next push.
        self._client.set_terminated(run_id, "FINISHED")
        return run_id

    def _find_or_make_experiment(self, *, local: bool, own: bool) -> str:
        name = self._track.experiment
        # Without a place of their own, local artifacts would land in the current folder.
        place = (self._ws.tracking_dir / "artifacts").as_uri() if local else None
        found = self._client.get_experiment_by_name(name)
        if own and found is not None and found.artifact_location != place:
            # The workspace was copied or moved: the old experiment would write into the old folder.
            name = f"{name} in {self._ws.root.as_posix()}"
            found = self._client.get_experiment_by_name(name)
        if found is not None:
            return str(found.experiment_id)
        return str(self._client.create_experiment(name, artifact_location=place))

    def _find_run(self, condition: str) -> Any:
        runs = self._client.search_runs(
            [self._experiment_id],
            filter_string=condition,
            max_results=1,
            order_by=["attributes.start_time ASC"],
        )
        return runs[0] if runs else None

    def _run_of_model(self, item: SpooledItem) -> str:
        """Run of the item's model; a model that was trained for another server gets a run here."""
        run = self._find_run(f"tags.`{_DIGEST_TAG}` = '{item.model_digest}'")
        if run is not None:
            return str(run.info.run_id)
        run_id = self._make_run(item)
        self._client.set_terminated(run_id, "FINISHED")
        return run_id

    def _make_run(self, item: SpooledItem) -> str:
        tags = {_SPOOL_TAG: item.spool_id, _DIGEST_TAG: item.model_digest, _MODEL_TAG: item.model_id}
        run = self._client.create_run(
            self._experiment_id, start_time=_milliseconds(item), tags=tags, run_name=item.model_id
        )
        return str(run.info.run_id)

    def _log(self, run_id: str, waiting: Waiting) -> None:
        from mlflow.entities import Metric, Param, RunTag

        item = waiting.item
        at = _milliseconds(item)
        self._client.log_batch(
            run_id,
            metrics=[Metric(name, value, at, 0) for name, value in sorted(item.metrics.items())],
            params=[Param(name, value) for name, value in sorted(item.params.items())],
            tags=[RunTag(f"seamtell.{name}", value) for name, value in sorted(item.tags.items())],
        )
        if item.file_digests:
            self._client.log_artifacts(run_id, str(waiting.files_dir))

    def _version(self, item: SpooledItem) -> str | None:
        """Version of the registered model that holds the item's model, if the server has it."""
        found = self._client.search_model_versions(f"name = '{self._track.registered_model}'")
        versions = [int(v.version) for v in found if v.tags.get(_DIGEST_TAG) == item.model_digest]
        return str(min(versions)) if versions else None

    def _register(self, run_id: str, item: SpooledItem) -> str:
        """Store the model as a script with its folder, and register it."""
        from seamtell.models.errors import ModelRefused
        from seamtell.models.model_file import load_any_model, model_digest
        from seamtell.pipeline.tracking.signature import input_example, model_signature, requirements

        folder = self._ws.models_dir / item.model_id
        try:
            model = load_any_model(folder)
        except ModelRefused as problem:
            raise NotSent(str(problem)) from problem
        if model_digest(folder) != item.model_digest:
            raise NotSent(f"{folder}: not the model that the run recorded. To do: restore it from a copy")
        # The run may be one of several open ones when the caller uses MLflow too.
        with self._mlflow.start_run(run_id=run_id, nested=True):
            info = self._mlflow.pyfunc.log_model(
                name=_MODEL_NAME,
                python_model=str(Path(__file__).with_name("stored_model.py")),
                artifacts={"model_folder": str(folder)},
                signature=model_signature(model),
                input_example=input_example(model),
                pip_requirements=requirements(),
            )
        return self._make_version(run_id, item, info)

    def _make_version(self, run_id: str, item: SpooledItem, info: Any) -> str:
        """Make the stored model a version of the registered one, with its digest from the start.

        MLflow's own shortcut prints to the terminal and adds the tags one by one.
        """
        name = self._track.registered_model
        if not self._client.search_registered_models(f"name = '{name}'"):
            self._client.create_registered_model(name)
        version = self._client.create_model_version(
            name,
            source=info.model_uri,
            run_id=run_id,
            tags=_version_tags(item),
            model_id=info.model_id,
        )
        return str(version.version)


def _version_tags(item: SpooledItem) -> dict[str, str]:
    tags = {_DIGEST_TAG: item.model_digest, _MODEL_TAG: item.model_id}
    if _PHYSICS_ONLY in item.tags:
        tags[f"seamtell.{_PHYSICS_ONLY}"] = item.tags[_PHYSICS_ONLY]
    return tags


def _milliseconds(item: SpooledItem) -> int:
    return int(datetime.fromisoformat(item.recorded_at).timestamp() * 1000)
