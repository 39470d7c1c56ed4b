"""What file systems elsewhere refuse, in plain words; each has exceptions of its own."""

from __future__ import annotations

from seamtell.pipeline.errors import StorageProblem

__all__ = ["place_problem"]

_NO_KEYS = frozenset(
    {"NoCredentialsError", "PartialCredentialsError", "CredentialRetrievalError", "ProfileNotFound"}
)
_NO_ANSWER = frozenset(
    {
        "EndpointConnectionError",
        "ConnectTimeoutError",
        "ReadTimeoutError",
        "ConnectionClosedError",
        "ProxyConnectionError",
    }
)


def place_problem(where: str, problem: Exception) -> StorageProblem | None:
    """What a file system refused, with advice; None for what is no problem of a storage."""
    kind, line = type(problem).__name__, (str(problem) or type(problem).__name__).splitlines()[0]
    if kind in _NO_KEYS:
        what = f"no keys for this storage: {line}"
        todo = "give keys through the environment (AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY) or ~/.aws"
    elif isinstance(problem, PermissionError):
        what = f"no permission: {line}"
        todo = "check the keys, and ask who runs the storage for the right to list, read and write here"
    elif isinstance(problem, FileNotFoundError):
        what = "there is no such bucket or folder"
        todo = "make the bucket, or mend the address"
    elif kind in _NO_ANSWER or isinstance(problem, (ConnectionError, TimeoutError)):
        what = f"the storage does not answer: {line}"
        todo = "check the network and the endpoint (AWS_ENDPOINT_URL), then run the same command again"
    elif isinstance(problem, OSError) or kind in {"ClientError", "BotoCoreError"}:
        what = f"the storage answers '{line}'"
        todo = "look after the storage, then run the same command again"
    else:
        return None
    return StorageProblem(what, where=where, do=todo)
