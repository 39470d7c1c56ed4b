"""Which input profile an ingest uses, for the call and for each file of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import storage_errors
from seamtell.pipeline.ingest.parquet_reader import fits_parquet
from seamtell.pipeline.ingest.profile import Profile, parse_profile
from seamtell.pipeline.init import DEFAULT_PROFILE_FILE, default_file
from seamtell.pipeline.workspace import Workspace

__all__ = ["ChosenProfile", "choose_profile"]


@dataclass(frozen=True)
class ChosenProfile:
    """A profile and the name to show for it.

    Parameters
    ----------
    name : str
    profile : Profile
    named : bool
        The user named it, so every file is read with it and with nothing else.
    """

    name: str
    profile: Profile
    named: bool = False

    def for_file(self, path: Path) -> Profile:
        """The profile to read one file with.

        It is this one, but for a Parquet file that it cannot read and that holds the columns of the
        contract: such a file says itself what it is. Where both could read it, the shop's own holds,
        since its units may differ.
        """
        if self.named or path.suffix.lower() != ".parquet" or self.profile == _CONTRACT:
            return self.profile
        own = fits_parquet(path, self.profile)
        return _CONTRACT if not own and fits_parquet(path, _CONTRACT) else self.profile


_CONTRACT = Profile()


def choose_profile(workspace: Workspace | None, wanted: str | None) -> ChosenProfile:
    """Take the profile `wanted` (a name in ``profiles/`` or a path), or the obvious one.

    Without a wish: the only profile in ``profiles/`` beside ``default.toml``, else
    ``default.toml`` there, else the contract layout that comes with seamtell.

    Raises
    ------
    BadInput
        No such profile, a broken one, or several to choose from.
    """
    folder = workspace.profiles_dir if workspace else None
    if wanted is not None:
        path = _wanted_path(folder, wanted)
        return ChosenProfile(path.stem, _read(path), named=True)
    own = sorted(folder.glob("*.toml")) if folder and folder.is_dir() else []
    further = [path for path in own if path.stem != "default"]
    if len(further) > 1:
        names = ", ".join(path.stem for path in further)
        raise BadInput(f"several input profiles: {names}", where=str(folder), do="say --profile NAME")
    if further or own:
        path = (further or own)[0]
        return ChosenProfile(path.stem, _read(path))
    return ChosenProfile("default", parse_profile(default_file(DEFAULT_PROFILE_FILE), DEFAULT_PROFILE_FILE))


def _wanted_path(folder: Path | None, wanted: str) -> Path:
    candidates = [folder / f"{wanted}.toml"] if folder and "/" not in wanted and "\\" not in wanted else []
    candidates.append(Path(wanted))
    for path in candidates:
        if path.is_file():
            return path
    known = ", ".join(path.stem for path in sorted(folder.glob("*.toml"))) if folder else ""
    raise BadInput(
        f"no input profile '{wanted}'" + (f"; there are: {known}" if known else ""),
        where=str(folder or Path.cwd()),
        do="mend the name, or write one with 'seamtell profile guess FILE'",
    )


def _read(path: Path) -> Profile:
    with storage_errors(path):
        data = path.read_bytes()
    return parse_profile(data, str(path))
