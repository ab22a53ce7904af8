"""The table that compare.py prints."""


class Table:
    def __init__(self):
        self.rows = []
        self.missed = False

    def against(self, what, unit, ours, peer, ratio_target=None, ours_spread=None, peer_spread=None):
        """A row of ours beside the peer's, judged if there is a target. Either may be None: not measured."""
        ratio = None if ours is None or peer is None else ours / peer
        self._row(what, figure(ours, unit, ours_spread), figure(peer, unit, peer_spread),
                  "" if ratio is None else f"{ratio:.2f}",
                  "" if ratio_target is None else f"ratio <= {ratio_target:.2f}",
                  None if ratio is None or ratio_target is None else ratio <= ratio_target)

    def alone(self, what, unit, ours, target=None, spread=None):
        """A row that judges ours against a fixed figure, or only states it."""
        self._row(what, figure(ours, unit, spread), "", "", "" if target is None else f"<= {target:g} {unit}",
                  None if target is None else ours <= target)

    def peer(self, what, unit, value):
        self._row(what, "", figure(value, unit), "", "", None)

    def _row(self, what, ours, peer, ratio, target, met):
        self.missed |= met is False
        self.rows.append((what, ours, peer, ratio, target, {None: "", True: "met", False: "MISSED"}[met]))

    def print(self):
        rows = [("what", "tramd", "script", "ratio", "target", "")] + self.rows
        widths = [max(len(r[i]) for r in rows) for i in range(6)]
        for n, row in enumerate(rows):
            print("| " + " | ".join(cell.ljust(w) for cell, w in zip(row, widths)) + " |")
            if n == 0:
                print("|" + "|".join("-" * (w + 2) for w in widths) + "|", flush=True)


def figure(value, unit, spread=None):
    if value is None:
        return ""
    text = f"{value:.3g} {unit}"
    return text if spread is None else f"{text} ({spread[0]:.3g} to {spread[1]:.3g})"
