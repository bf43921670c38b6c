"""Answers that take seconds to work out, kept while the presses behind them stay as they are."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from contextlib import nullcontext
from typing import Any, TypeVar

from fastapi import Request

_Answer = TypeVar("_Answer")

_MOST_KEPT = 64


class Answers:
    """The last answers by what was asked of which presses; works out one at a time."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = threading.Lock()
        self._at_work = threading.Lock()  # seconds of arithmetic side by side starve the frames

    def known(self, asked: Hashable) -> bool:
        """Return whether an answer is at hand."""
        with self._lock:
            return asked in self._kept

    def of(self, asked: Hashable, work_out: Callable[[], _Answer]) -> _Answer:
        """Return the answer at hand, or the one just worked out."""
        answer: _Answer
        with self._at_work if not self.known(asked) else nullcontext():
            with self._lock:
                found = asked in self._kept
                if found:
                    self._kept.move_to_end(asked)
                    answer = self._kept[asked]
            if not found:
                answer = work_out()
                self._keep(asked, answer)
        return answer

    def _keep(self, asked: Hashable, answer: Any) -> None:
        with self._lock:
            self._kept[asked] = answer
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)


def answers_of(request: Request) -> Answers:
    """Return the answers of the app that a request came to."""
    answers: Answers = request.app.state.answers
    return answers
