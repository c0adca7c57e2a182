"""What someone had read when they told what was done since: another take meanwhile makes that untrue.

Two pages that tell one act would count it twice. Guarded by `tests/web/test_two_tabs.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from canebench.base.sentences import seat_said
from canebench.base.setting import strip_said
from canebench.bench.acts.ledger import Differing, StaleEditError
from canebench.store.records import SettingRecord, TakeRecord, TapeRecord

if TYPE_CHECKING:
    from canebench.store.reader import Reader
    from canebench.store.records import ChanterRecord, ReedRecord

#: Stands for "there was no take".
NO_TAKE = 0


def newest_take(reader: Reader, reed: ReedRecord, chanter: ChanterRecord) -> int:
    """The newest take of a reed in a chanter; `NO_TAKE` where there is none."""
    found = reader.rows(TakeRecord, {"reed_id": reed.id, "chanter_id": chanter.id}, order="-at", limit=1)
    return found[0].id if found else NO_TAKE


def check_newest(reader: Reader, reed: ReedRecord, chanter: ChanterRecord, read: int) -> None:
    """A `StaleEditError`, with both settings, where the newest take is another than the one `read`."""
    now = newest_take(reader, reed, chanter)
    if now == read:
        return
    known = {take.id: take for take in reader.of_many(TakeRecord, "id", [read, now])}
    then, since = (_said(reader, known.get(take_id)) for take_id in (read, now))
    raise StaleEditError(
        what=f"the fitting of reed {reed.number} in {chanter.name}",
        differ=[Differing(field="newest take", then=then, now=since)],
    )


def check_act(*, read: str, now: str) -> None:
    """A `StaleEditError` where the act that is said to be done is another than the one `read`."""
    if read != now:
        differ = Differing(field="next act", then=f"“{read}”", now=f"“{now}”" if now else "none")
        raise StaleEditError(what="the plan", differ=[differ])


def _said(reader: Reader, take: TakeRecord | None) -> str:
    """A take with its setting: "take 7, 1.25 mm deeper than the hand seat, tape on E 1.5 mm"."""
    if take is None:
        return "none"
    if take.setting_id is None:
        return f"take {take.id}"
    seat = seat_said(reader.row(SettingRecord, take.setting_id).seat_mm)
    tapes = reader.rows(TapeRecord, {"setting_id": take.setting_id})
    taped = [f"{one.hole} {strip_said(one.covered_mm)}" for one in tapes if one.covered_mm]
    return f"take {take.id}, {seat}" + (f", tape on {', '.join(taped)}" if taped else "")
