"""What the model that MLflow keeps takes and gives, in MLflow's words."""

from __future__ import annotations

from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from seamtell.pipeline.decisions.answer_table import ANSWER_COLUMNS

if TYPE_CHECKING:
    from seamtell.models.fitted_model import FittedModel

__all__ = ["input_example", "model_signature", "requirements"]

_TEXT_COLUMNS = ("label", "label_set", "reason")
_EXAMPLE_ROWS = 5
_LIBRARIES = ("mlflow", "numpy", "pandas", "scikit-learn", "lightgbm", "scipy", "pydantic")


def model_signature(model: FittedModel) -> Any:
    """Signature: the model's descriptors and ``recipe`` in, `ANSWER_COLUMNS` out."""
    from mlflow.models import ModelSignature
    from mlflow.types import ColSpec, Schema

    inputs: list[Any] = [ColSpec("double", name) for name in model.card.descriptor_names]
    outputs: list[Any] = [
        ColSpec("string" if name in _TEXT_COLUMNS else "double", name) for name in ANSWER_COLUMNS
    ]
    return ModelSignature(Schema([*inputs, ColSpec("string", "recipe")]), Schema(outputs))


def input_example(model: FittedModel) -> Any:
    """A few rows of model input: of the model's own probe, with a recipe that it knows."""
    import pandas as pd

    rows = pd.DataFrame(model.probe_values[:_EXAMPLE_ROWS], columns=list(model.card.descriptor_names))
    return rows.assign(recipe=model.card.domain.recipes[0])


def requirements() -> list[str]:
    """Packages that loading the model needs, with the versions in use."""
    return [f"{name}=={version(name)}" for name in ("seamtell", *_LIBRARIES)]
