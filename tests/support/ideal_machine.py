"""A virtual machine without a fault, and machines with single faults."""

from coupons.measuring.virtual.machine import load_machine

BENCH = load_machine("bench-1")


def changed(machine=BENCH, **tables):
    """Return the machine with single values of its tables changed."""
    return machine.model_copy(
        update={
            table: getattr(machine, table).model_copy(update=values)
            for table, values in tables.items()
        }
    )


IDEAL = changed(
    bead={"laid_mm": BENCH.bead.planned_mm, "drag_mm": 0.0, "seam_mm": 0.0},
    axes={"lost_x_mm": 0.0, "lost_y_mm": 0.0}
    | {"shrink_x": 0.0, "shrink_y": 0.0, "shrink_z": 0.0, "skew_mrad": 0.0},
    layers={"squeeze_mm": 0.0, "swell_mm": 0.0, "proud_mm": 0.0, "sag_mm": 0.0},
    scatter=dict.fromkeys(type(BENCH.scatter).model_fields, 0.0),
)
