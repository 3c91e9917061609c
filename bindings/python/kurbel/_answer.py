"""What a study gives."""
from __future__ import annotations

import dataclasses
import json
import os
from typing import Any

from . import _core


@dataclasses.dataclass(frozen=True, eq=False)
class Answer:
    """The answer of one study.

    Attributes
    ----------
    study : str
        Which study answered: 'swap', 'verify'.
    question, verdict, sentence : str
        What was asked; one of the study's words; the answer in one line for a person.
    evidence : dict
        The figures behind it, as in answer.json; unknown numbers are None.
    cautions : tuple of str
        What can hurt people or machines around this work, the most general first.
    table : str
        The figures for a terminal of 100 letters.
    picture : str
        An SVG document; '' where there is nothing to draw.
    """

    study: str
    question: str
    verdict: str
    sentence: str
    evidence: dict[str, Any]
    cautions: tuple[str, ...]
    table: str
    picture: str
    _core: _core.Answer = dataclasses.field(repr=False)

    @classmethod
    def _of(cls, answer: _core.Answer) -> Answer:
        return cls(
            study=answer.study,
            question=answer.question,
            verdict=answer.verdict,
            sentence=answer.sentence,
            evidence=json.loads(answer.evidence),
            cautions=tuple(answer.cautions),
            table=answer.table,
            picture=answer.picture,
            _core=answer,
        )

    def __repr__(self) -> str:
        return f"<kurbel.Answer {self.study}: {self.verdict}. {self.sentence}>"

    def save(self, folder: str | os.PathLike[str]) -> None:
        """Write answer.json and picture.svg into `folder`, whole or not at all.

        Parameters
        ----------
        folder : path-like
            An earlier answer there is replaced.

        Raises
        ------
        InputError
            The folder holds something that is no earlier answer, or cannot be written.
        """
        self._core.save(os.fspath(folder))
