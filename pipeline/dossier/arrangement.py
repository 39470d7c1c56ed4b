"""The dossier put together: which parts, in which order."""

from __future__ import annotations

from seamtell.pipeline.dossier.content import DossierContent
from seamtell.pipeline.dossier.data_part import data_section
from seamtell.pipeline.dossier.detection_part import detection_section
from seamtell.pipeline.dossier.doubt_part import doubt_section, tolerance_section
from seamtell.pipeline.dossier.errors_part import errors_section
from seamtell.pipeline.dossier.identity_part import (
    digests_section,
    identification_line,
    identification_section,
    signing_section,
)
from seamtell.pipeline.dossier.limits_part import cautions, cautions_section, limits_section
from seamtell.pipeline.dossier.missed_part import missed_section
from seamtell.pipeline.dossier.naming_part import classes_section, matrix_section
from seamtell.pipeline.dossier.qualification_points import qualification_section
from seamtell.pipeline.dossier.rivals_part import comparison_section
from seamtell.pipeline.dossier.slices_part import costs_section, strata_section
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.dossier.verdict_part import answer_sentence, criteria_section

__all__ = ["arrange"]

_PARTS = (
    identification_section,
    criteria_section,
    data_section,
    matrix_section,
    classes_section,
    detection_section,
    missed_section,
    tolerance_section,
    doubt_section,
    comparison_section,
    strata_section,
    costs_section,
    errors_section,
    limits_section,
    cautions_section,
    qualification_section,
    signing_section,
    digests_section,
)


def arrange(source: DossierSource) -> DossierContent:
    """The content of a dossier: the same source gives the same content."""
    return DossierContent(
        title=f"Dossier of model {source.evaluation.model_id}",
        identification=identification_line(source),
        answer=answer_sentence(source),
        cautions=cautions(source),
        sections=tuple(part(source) for part in _PARTS),
    )
