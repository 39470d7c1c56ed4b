"""Errors of the pipeline, each with the exit code it ends a command with."""

from __future__ import annotations

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.console import ExitCode

__all__ = ["BadInput", "ClusterProblem", "Refused", "StorageProblem", "WorkspaceBusy"]


class BadInput(SeamtellError):
    """What was given cannot be used; nothing was done."""

    exit_code = ExitCode.BAD_INPUT


class Refused(SeamtellError):
    """Refused on purpose: a criterion failed, a digest did not match."""

    exit_code = ExitCode.REFUSED


class WorkspaceBusy(SeamtellError):
    """Another command holds the workspace."""

    exit_code = ExitCode.BUSY


class ClusterProblem(SeamtellError):
    """Workers died, or the scheduler was lost; what was finished is kept."""

    exit_code = ExitCode.CLUSTER


class StorageProblem(SeamtellError):
    """The disk is full, read-only or unreadable."""

    exit_code = ExitCode.STORAGE
