"""Which piece serves which line: as many lines as can be, essential ones first, with the best-liked parts."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence


def assign(slots: Sequence[Mapping[str, int]], parts: Sequence[str]) -> dict[int, int]:
    """Give slots one piece each.

    A slot that can be served is served, the earlier slots before the later ones; of all ways to serve
    the same slots the one with the least sum of ranks is taken. Serving the earlier slots first costs no
    slot in total (the slots that can be served together form a matroid), and one piece more never leaves
    a slot empty that was served without it. Slots are added one at a time along the cheapest augmenting
    path, which keeps the sum least (successive shortest paths).

    Args:
        slots: for each slot the parts that may serve it, each with its rank: 0 for the slot's own part,
            1 and up for its substitutes.
        parts: part of each piece; of equal pieces the earlier is taken.

    Returns:
        Slot of each piece that serves one, by their indices.

    Source:
        J. Edmonds and D. R. Fulkerson, Transversals and matroid partition (1965);
        H. W. Kuhn, The Hungarian method for the assignment problem (1955).
    """
    serves: dict[int, int] = {}
    for slot in range(len(slots)):
        _serve(slot, slots, parts, serves)
    return serves


def _serve(slot: int, slots: Sequence[Mapping[str, int]], parts: Sequence[str], serves: dict[int, int]) -> None:
    """Serve one more slot along the cheapest path of exchanges, if there is one."""
    cost: dict[int, int] = {}
    came_from: dict[int, int] = {}
    queue = deque([(0, slot)])
    while queue:
        so_far, at = queue.popleft()
        for piece, part in enumerate(parts):
            if part not in slots[at] or serves.get(piece) == at:
                continue
            reached = so_far + slots[at][part]
            if piece in cost and cost[piece] <= reached:
                continue
            cost[piece], came_from[piece] = reached, at
            if piece in serves:
                held = serves[piece]
                queue.append((reached - slots[held][part], held))
    free = [(price, piece) for piece, price in cost.items() if piece not in serves]
    if not free:
        return
    piece = min(free)[1]
    holds = {held: other for other, held in serves.items()}
    while (at := came_from[piece]) != slot:
        serves[piece], piece = at, holds[at]
    serves[piece] = slot
