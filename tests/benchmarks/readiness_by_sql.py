"""The readiness of a day's cases by hand-written SQL: no more of the rules than what `large_unit` holds takes.

It knows packed trays, single packs, bare trays with one list and no substitutes, and a set that serves two cases. It
knows no sizes, chains, closed sets, loans or dates of pieces, and tells verdicts and moments, no reasons.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db import connection

from lists.reads.readiness import DayReadiness

Told = dict[str, tuple[str, datetime | None]]
WORST = ("Short", "Late", "Not planned", "Complete by", "Complete")
TAIL = 20 + 55 + 30 + 10
CHAIN = {
    "awaiting release": (30, 10), "in steriliser": (55, 40), "assembled": (55, 40), "inspected": (20, 95),
    "cleaned": (20, 95), "in washer": (75, TAIL), "returned": (10, 75 + TAIL), "in use": (25, 85 + TAIL),
}  # fmt: skip
"""Minutes of the present step and of those after it: the table of docs/algorithms/readiness.md."""
USELESS, WITH_A_CASE = ("quarantined", "recalled", "expired"), ("opened", "issued")
NEVER = datetime.max.replace(tzinfo=UTC)
ON_TABLE = timedelta(minutes=25)
NEEDS = """
SELECT c.code, c.starts_at, c.duration_min, r.template_id, r.part_id, a.tray_id, a.pack_id,
       COALESCE(own.state, single.state), COALESCE(own.use_by, single.use_by), COALESCE(l.ended_at, l.started_at),
       other.starts_at, other.duration_min
  FROM lists_case c
  JOIN lists_theatrelist day ON day.id = c.list_id
  JOIN lists_requirement r ON r.case_id = c.id
  LEFT JOIN lists_allocation a ON a.requirement_id = r.id
  LEFT JOIN trays_pack own ON own.tray_id = a.tray_id AND own.state NOT IN ('returned', 'void')
  LEFT JOIN trays_pack single ON single.id = a.pack_id
  LEFT JOIN reprocessing_loadpack lp ON lp.pack_id = own.id AND lp.open
  LEFT JOIN reprocessing_load l ON l.id = lp.load_id
  LEFT JOIN lists_issue i ON i.pack_id = own.id AND NOT i.ended
  LEFT JOIN lists_case other ON other.id = i.case_id
 WHERE day.day = %s AND c.state <> 'cancelled'
 ORDER BY c.starts_at, c.code, r.id
"""
IN_STOCK = """
SELECT DISTINCT t.template_id, x.part_id
  FROM trays_pack p
  LEFT JOIN trays_tray t ON t.id = p.tray_id
  LEFT JOIN trays_content k ON k.pack_id = p.id AND p.tray_id IS NULL
  LEFT JOIN instruments_piece x ON x.id = k.piece_id
 WHERE p.state IN ('awaiting release', 'in steriliser', 'assembled', 'issued', 'opened')
    OR p.state = 'sterile' AND p.use_by >= %s
"""
LACKING = """
SELECT t.id, t.code, line.part_id, line.quantity - COUNT(laid.id)
  FROM trays_tray t
  JOIN trays_templateversion v ON v.template_id = t.template_id AND v.state = 'published'
  JOIN trays_templateline line ON line.version_id = v.id
  LEFT JOIN trays_placement on_it ON on_it.tray_id = t.id
       AND on_it.piece_id IN (SELECT id FROM instruments_piece WHERE part_id = line.part_id)
  LEFT JOIN instruments_piece laid ON laid.id = on_it.piece_id
 WHERE t.id IN ({})
 GROUP BY t.id, t.code, line.part_id, line.quantity
HAVING line.quantity > COUNT(laid.id)
"""
LOOSE = """
SELECT x.part_id, x.code, x.state, l.started_at,
       (SELECT t.code FROM trays_content k JOIN trays_pack p ON p.id = k.pack_id JOIN trays_tray t ON t.id = p.tray_id
         WHERE k.piece_id = x.id ORDER BY k.id DESC LIMIT 1)
  FROM instruments_piece x
  LEFT JOIN reprocessing_loadpiece lp ON lp.piece_id = x.id AND lp.open
  LEFT JOIN reprocessing_load l ON l.id = lp.load_id
 WHERE x.part_id IN ({}) AND x.state IN ('inspected', 'cleaned', 'in washer', 'returned', 'in use')
   AND NOT EXISTS (SELECT 1 FROM trays_carried c JOIN trays_pack p ON p.id = c.pack_id
                    WHERE c.piece_id = x.id AND p.state NOT IN ('returned', 'void'))
"""


def asked(sql: str, given: Sequence[Any]) -> list[tuple[Any, ...]]:
    """Rows of a query; `{}` stands for as many values as are given."""
    with connection.cursor() as cursor:
        cursor.execute(sql.format(", ".join(["%s"] * len(given))), given)
        return list(cursor.fetchall())


def moment(value: Any) -> Any:
    """A moment as either database gives it."""
    found = datetime.fromisoformat(value) if isinstance(value, str) else value
    return found.replace(tzinfo=UTC) if found is not None and found.tzinfo is None else found


def sterile_at(state: str, since: datetime | None, begins: datetime, now: datetime) -> datetime:
    """When the chain from a state is over."""
    first, rest = (timedelta(minutes=minutes) for minutes in CHAIN[state])
    return (max(now, since + first) if since is not None else begins + first) + rest


def bare(trays: Sequence[int], now: datetime) -> dict[int, datetime | None]:
    """When a tray that is not packed can be sterile, filled in this order; None when something lacks."""
    lacking = defaultdict(list)
    code_of = {}
    for tray, code, part, many in asked(LACKING, trays) if trays else ():
        lacking[tray].append((part, many))
        code_of[tray] = code
    parts = sorted({part for rows in lacking.values() for part, _ in rows})
    loose = defaultdict(list)
    for part, code, state, since, last in asked(LOOSE, parts) if parts else ():
        loose[part].append((sterile_at(state, moment(since), now, now), code, last))
    waiting, found = set(code_of.values()), dict[int, datetime | None]()
    for tray in trays:
        ready: list[datetime] = [sterile_at("inspected", None, now, now)]
        for part, many in lacking[tray]:
            others = waiting - {code_of[tray]}
            best = sorted(loose[part], key=lambda row: (row[2] in others, row[0], row[1]))[:many]
            loose[part] = [row for row in loose[part] if row not in best]
            ready += [row[0] for row in best] if len(best) == many else [NEVER]
        found[tray] = None if NEVER in ready else max(ready)
    return found


def told(found: DayReadiness) -> Told:
    """What the product says, in the same shape."""
    rows = ((row.case.code, row.readiness) for row in found.rows)
    return {code: (str(one.verdict), one.ready_at) for code, one in rows if one is not None}


def readiness(day: date, now: datetime) -> Told:
    """Verdict and moment of each case by its code."""
    rows = asked(NEEDS, [day])
    empty = list(dict.fromkeys(row[5] for row in rows if row[5] and row[7] is None))
    filled, over, found = bare(empty, now), dict[int, datetime](), Told()
    in_stock = set(asked(IN_STOCK, [now]))
    by_case = defaultdict(list)
    for row in rows:
        by_case[row[0], moment(row[1]), row[2]].append(row[3:])
    for (code, starts, minutes), needs in by_case.items():
        judged = [_need(need, filled, over, in_stock, starts, now) for need in needs]
        verdict = min((one for one, _ in judged), key=WORST.index)
        latest = max((at for _, at in judged if at is not None), default=None)
        begins = max(starts, latest + ON_TABLE) if verdict == "Late" and latest is not None else starts
        for (one, _), need in zip(judged, needs, strict=True):
            if need[2] and one != "Short":
                over[need[2]] = begins + timedelta(minutes=minutes)
        found[code] = (verdict, latest)
    return found


def _need(need: Any, filled: Any, over: Any, in_stock: Any, starts: datetime, now: datetime) -> Any:
    template, part, tray, pack, state, use_by, since, other_starts, other_minutes = need
    if tray is None and pack is None:
        return ("Not planned" if (template, part) in in_stock else "Short"), None
    if tray in over:
        ready = sterile_at("in use", None, max(now, over[tray]), now)
    elif state is None:
        ready = filled[tray]
    elif state in USELESS or (state not in WITH_A_CASE and moment(use_by) < starts):
        return "Short", None
    elif state == "sterile":
        return "Complete", now
    elif state in WITH_A_CASE:
        ready = sterile_at("in use", None, max(now, moment(other_starts) + timedelta(minutes=other_minutes)), now)
    else:
        ready = sterile_at(state, moment(since), now, now)
    if ready is None:
        return "Short", None
    return ("Complete by" if ready <= starts - ON_TABLE else "Late"), ready
