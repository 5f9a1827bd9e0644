"""The last quarter of the random steps by which the promise is tried (``tests.work.promise``)."""

from __future__ import annotations

from tests.work import promise


def test_whatever_happens_in_whatever_order_the_promise_is_kept() -> None:
    promise.play_part(4)
