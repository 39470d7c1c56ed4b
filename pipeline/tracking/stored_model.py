"""The model that MLflow keeps, stored as this very script, so that nothing is pickled.

MLflow copies this file and the model folder; on loading it runs the file and hands
over the folder, whose digests and probe set are then verified as anywhere else.
Only MLflow runs this module; seamtell itself never imports it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from seamtell.pipeline.decisions.answer_table import answer_table
from seamtell.pipeline.tracking.mlflow_noise import without_mlflow_noise

with without_mlflow_noise():
    from mlflow.models import set_model
    from mlflow.pyfunc.model import PythonModel

__all__ = ["FlawLabeller"]


class FlawLabeller(PythonModel):
    """Labels a table of descriptors with a verified flaw model."""

    def load_context(self, context: Any) -> None:
        """Load and verify the model folder that MLflow kept with this script.

        A model learnt from simulation alone loads too; its version is tagged ``physics_only``.
        """
        from seamtell.models.model_file import load_any_model

        self._model = load_any_model(Path(context.artifacts["model_folder"]))

    def predict(
        self,
        context: Any,  # noqa: ARG002 (MLflow's signature)
        model_input: pd.DataFrame,
        params: dict[str, Any] | None = None,  # noqa: ARG002 (MLflow's signature)
    ) -> pd.DataFrame:
        """Answer one row per indication.

        Parameters
        ----------
        model_input : pandas.DataFrame
            The model's descriptors by name, and ``recipe``.

        Returns
        -------
        pandas.DataFrame
            ``label, p_<class>…, label_set, novelty_p, reason``.
        """
        names = list(self._model.card.descriptor_names)
        recipes = model_input["recipe"].astype(str).tolist()
        return answer_table(self._model.answer(model_input[names].to_numpy(dtype=float), recipes))


set_model(FlawLabeller())
