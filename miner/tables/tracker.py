"""Whether the tracker was worn: without that, nothing recorded is not the same as nothing done."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from miner.core.messages import Message, message
from miner.records.client import Client
from miner.records.columns import STILL
from miner.tables.clockwork import DAY, Times, seconds
from miner.tables.columns import numbers
from miner.tables.glucose.outcomes import covered, percent
from miner.tables.spans import NOTHING, Spans

LEAST_WORN = 0.5
DAYS_OUTSIDE_A_STREAM = 7


@dataclass(frozen=True, slots=True)
class Tracker:
    """When each tracker stream can be trusted to say "none".

    Attributes:
        worn: stream to the spans in which it was sampled, for streams made from samples.
        seen: every record of any tracker stream; rows that count no steps show nothing.
        extent: stream to the instants of its first and last record, absent where it is empty.
    """

    worn: dict[str, Spans]
    seen: Spans
    extent: dict[str, tuple[int, int]]

    def why_unknown(
        self, stream: str, window: tuple[int, int], day: tuple[int, int]
    ) -> Message | None:
        """Return why a stream tells nothing about a window of a day, None where it does.

        A sampled stream must have been sampled for half of the window. Of any other, some tracker
        record must fall into that day, and the day may lie at most a week outside the stream.
        """
        if stream in self.worn:
            minutes = self.worn[stream].minutes(*window)
            share = covered(minutes, window[1] - window[0])
            if share >= LEAST_WORN:
                return None
            told, need = percent(share), percent(LEAST_WORN)
            return message("tables.not_worn_long_enough", share=told, need=need)
        if stream not in self.extent:
            return message("tables.no_stream_records", stream=stream)
        first, last = self.extent[stream]
        around = DAYS_OUTSIDE_A_STREAM * DAY
        if day[1] < first - around or day[0] > last + around:
            return message("tables.stream_elsewhere", stream=stream)
        if not self.seen.touch(*day):
            return message("tables.no_tracker_record")
        return None


def tracker_of(client: Client) -> Tracker:
    """Return when the tracker of a client was worn."""
    starts: list[Times] = []
    ends: list[Times] = []
    extent = {}
    for stream in ("sleep", "stress", "activity"):
        frame = client.used(stream)
        if not len(frame):
            continue
        start, end = seconds(frame["start"]), seconds(frame["end"])
        extent[stream] = (int(start.min()), int(end.max()))
        if stream == "activity":
            idle = (numbers(frame["steps"]) == 0) & (frame["kind"] != STILL).to_numpy()
            start, end = start[~idle], end[~idle]
        starts.append(start)
        ends.append(end)
    worn = {
        stream: Spans.of(seconds(frame["start"]), seconds(frame["end"]), [("", 0)] * len(frame))
        for stream, frame in client.worn.items()
    }
    if not starts:
        return Tracker(worn, NOTHING, extent)
    start, end = np.concatenate(starts), np.concatenate(ends)
    return Tracker(worn, Spans.of(start, end, [("", 0)] * start.size), extent)
