"""Answers of an interview kept in a file from one question to the next, and taken up again."""

import json
from collections.abc import Mapping
from pathlib import Path

from debriscount.errors import DebriscountError

_FORMAT = "debriscount/answers/1"


class KeptAnswers:
    """Answers beside the file that they are for: those to weighing.toml are in weighing.answers.json."""

    def __init__(self, out: Path) -> None:
        self.path = out.with_name(f"{out.stem}.answers.json")

    def read(self) -> dict[str, str]:
        """Answers that were kept, by question; none where there are none, or the file is no such file."""
        from debriscount.inputs.record_file import read_json

        if not self.path.exists():
            return {}
        try:
            found = read_json(self.path, (_FORMAT,), "").get("answers")
        except DebriscountError:
            return {}
        pairs = found.items() if isinstance(found, dict) else ()
        return {question: answer for question, answer in pairs if isinstance(answer, str)}

    def keep(self, answers: Mapping[str, str]) -> None:
        """Write all answers; OutputError if they cannot be."""
        from debriscount.inputs.save import save_files

        content = json.dumps({"format": _FORMAT, "answers": dict(answers)}, indent=1, ensure_ascii=False)
        save_files({self.path: content.encode()}, overwrite=True)

    def clear(self) -> None:
        """Take the file away: what the answers were for is saved."""
        self.path.unlink(missing_ok=True)
