"""The invented kit of the sample turnstone: an aluminium two-seat floatplane, in a builder's words."""

from __future__ import annotations

from benchmarks.invented.workshop.kit import Kit, Step
from forecast.files.plan import Plan

LEFT_RIGHT = ("left", "right")
PINS = "fasteners:{}"


def turnstone_plan() -> Plan:
    """The plan: tail, wings, fuselage, floats, and what makes it fly."""
    kit = Kit(letters={"tail": "T", "wings": "W", "fuselage": "F", "floats": "P", "fitting out": "E"})
    tail = _tail(kit)
    wings = _wings(kit)
    fuselage = _fuselage(kit, tail)
    floats = _floats(kit)
    _fitting_out(kit, wings, fuselage, floats)
    return kit.plan


def _surface(name: str, ribs: int, holes: int, hours: float) -> list[Step]:
    """A small tail surface: frame first, then the skin over it."""
    return [
        Step(f"Deburr the {{}} {name} ribs", "deburr", ribs, round(hours * 0.5) / 2 or 0.5),
        Step(f"Match-drill the {{}} {name} frame", "drill", holes // 2, hours * 0.75, uses=PINS.format(90)),
        Step(f"Dimple the {{}} {name} frame and skin", "dimple", holes, hours * 0.75),
        Step(f"Prime the {{}} {name} parts", "prime", ribs + 4, hours * 0.5, "either", 1),
        Step(f"Rivet the {{}} {name} frame", "rivet", holes // 2, hours, uses=PINS.format(60)),
        Step(f"Close the {{}} {name} skin", "rivet", holes, hours * 1.5, uses=PINS.format(120)),
    ]


def _tail(kit: Kit) -> list[str]:
    fin = kit.assembly("tail", _surface("fin", 8, 150, 3.0))[""]
    rudder = kit.assembly("tail", [
        *_surface("rudder", 8, 130, 2.5),
        Step("Roll the rudder's leading edge", "bend", 2, 1.5, "two"),
        Step("Hang the rudder on the fin", "fit", 3, 2.0, "either"),
    ], after=[fin[4]])[""]  # fmt: skip
    stabiliser = kit.assembly("tail", _surface("stabiliser", 10, 190, 3.5), sides=LEFT_RIGHT)
    elevator = kit.assembly("tail", [
        *_surface("elevator", 9, 120, 2.5),
        Step("Roll the {} elevator's leading edge", "bend", 2, 1.5, "two"),
    ], sides=LEFT_RIGHT)  # fmt: skip
    tab = kit.assembly("tail", [
        Step("Cut and bend the trim tab", "bend", 3, 1.5),
        Step("Rivet the trim tab and its hinge", "rivet", 46, 2.0),
    ])[""]  # fmt: skip
    done = [fin[-1], rudder[-1], tab[-1]]
    done += [ids[-1] for side in (stabiliser, elevator) for ids in side.values()]
    return kit.join("tail", [
        Step("Hang both elevators and match the horns", "fit", 4, 4.0, "two"),
        Step("Fit the trim tab cable", "fit", 2, 2.5),
        Step("Glass the tail tips on", "bond", 5, 5.0, "either", 1),
    ], after=done)  # fmt: skip


def _wings(kit: Kit) -> dict[str, list[str]]:
    spar = kit.assembly("wings", [
        Step("Lay out the {} spar and check it against the drawing", "test", 1, 1.5),
        Step("Deburr the {} spar web and caps", "deburr", 8, 4.0),
        Step("Match-drill the {} main spar", "drill", 260, 7.0, uses=PINS.format(140)),
        Step("Prime the {} spar", "prime", 10, 2.5, "either", 2),
        Step("Rivet the {} main spar", "rivet", 240, 10.0, "two", uses=PINS.format(120)),
        Step("Bolt the {} root fittings on", "fit", 6, 3.5),
    ], sides=LEFT_RIGHT)  # fmt: skip
    tank = kit.assembly("wings", [
        Step("Cut and bend the {} tank baffles", "bend", 6, 3.5),
        Step("Drill the {} tank", "drill", 210, 5.0),
        Step("Scuff and clean the {} tank for sealant", "seal", 2, 2.5, "one"),
        Step("Seal and rivet the {} tank ribs", "seal", 8, 9.0, "two", 2),
        Step("Close the {} tank, sealant everywhere", "seal", 4, 5.0, "two", 4),
        Step("Leak test the {} tank with a balloon", "test", 1, 2.0),
    ], sides=LEFT_RIGHT)  # fmt: skip
    rear = kit.assembly("wings", [
        Step("Make up the {} rear spar", "drill", 90, 3.0),
        Step("Rivet the {} rear spar doublers", "rivet", 80, 3.0),
    ], sides=LEFT_RIGHT)  # fmt: skip
    steps = [
        Step("Deburr the {} wing ribs", "deburr", 26, 8.0),
        Step("Straighten the {} rib flanges", "bend", 26, 5.0, parallel=True),
        Step("Set up the {} wing in the jig, level it twice", "fit", 4, 4.0, "two"),
        Step("Match-drill the {} wing skins", "drill", 520, 12.0, uses=PINS.format(260)),
        Step("Take the {} wing apart and deburr the skins", "deburr", 10, 5.0),
        Step("Dimple the {} wing skins", "dimple", 620, 9.0),
        Step("Dimple the {} wing ribs", "dimple", 500, 7.0, parallel=True),
        Step("Prime the {} wing ribs and skins", "prime", 36, 7.0, "either", 2),
        Step("Rivet the {} ribs to the spar", "rivet", 210, 8.0),
        Step("Run the {} wing's conduit and the pitot line", "wire", 3, 3.0, "one", parallel=True),
        Step("Rivet the {} top skins", "rivet", 560, 16.0, "two", uses=PINS.format(240)),
        Step("Rivet the {} nose skin", "rivet", 240, 8.0, "two", uses=PINS.format(140)),
    ]
    frame = {side: [spar[side][-1], rear[side][-1]] for side in LEFT_RIGHT}
    built = kit.assembly("wings", steps, sides=LEFT_RIGHT, after=frame)
    flap = kit.assembly("wings", _surface("flap", 9, 160, 3.0), sides=LEFT_RIGHT)
    aileron = kit.assembly("wings", [
        *_surface("aileron", 7, 130, 2.5),
        Step("Balance the {} aileron", "fit", 2, 1.5, "one"),
    ], sides=LEFT_RIGHT)  # fmt: skip
    parts = (built, tank, flap, aileron)
    return kit.assembly("wings", [
        Step("Slide the {} tank in and screw it down", "fit", 8, 3.0, "two"),
        Step("Hang the {} flap and aileron", "fit", 5, 4.0),
        Step("Close the {} bottom skin, arm deep inside", "rivet", 300, 12.0, "two", uses=PINS.format(200)),
        Step("Fit the {} wing tip and its light", "fit", 3, 4.0),
    ], sides=LEFT_RIGHT, after={side: [p[side][-1] for p in parts] for side in LEFT_RIGHT})  # fmt: skip


def _fuselage(kit: Kit, tail: list[str]) -> list[str]:
    frames = kit.assembly("fuselage", [
        Step("Deburr the bulkheads", "deburr", 14, 6.0),
        Step("Drill the bulkhead doublers", "drill", 180, 5.0),
        Step("Prime the bulkheads", "prime", 28, 4.5, "either", 2),
        Step("Rivet the bulkheads", "rivet", 210, 8.0),
    ], delivery="fuselage-kit")[""]  # fmt: skip
    longerons = kit.assembly("fuselage", [
        Step("Bend the longerons on the long bench", "bend", 4, 6.0, "two"),
        Step("Drill the longerons", "drill", 160, 4.0),
        Step("Prime the longerons", "prime", 4, 1.5, "either", 1),
    ], delivery="fuselage-kit")[""]  # fmt: skip
    floor = kit.assembly("fuselage", [
        Step("Deburr the floor stiffeners", "deburr", 16, 3.0),
        Step("Drill the floor", "drill", 220, 5.0),
        Step("Dimple the floor panels", "dimple", 180, 3.0),
        Step("Prime the floor", "prime", 20, 3.0, "either", 1),
        Step("Rivet the floor", "rivet", 260, 9.0, "two"),
        Step("Fit the control tunnel", "fit", 4, 4.0),
    ], delivery="fuselage-kit")[""]  # fmt: skip
    firewall = kit.assembly("fuselage", [
        Step("Drill the firewall and its angles", "drill", 110, 3.5),
        Step("Rivet the firewall", "rivet", 120, 5.0),
        Step("Seal the firewall", "seal", 4, 2.5, "one", 2),
    ], delivery="fuselage-kit")[""]  # fmt: skip
    cone = kit.assembly("fuselage", [
        Step("Set up the tailcone in the cradle", "fit", 5, 5.0, "two"),
        Step("Match-drill the tailcone skins", "drill", 380, 9.0, uses=PINS.format(240)),
        Step("Deburr the tailcone skins", "deburr", 8, 4.0),
        Step("Dimple the tailcone skins", "dimple", 360, 5.5),
        Step("Prime the tailcone skins", "prime", 8, 3.0, "either", 2),
        Step("Rivet the tailcone's long seams, one outside, one inside", "rivet", 420, 15.0, "two",
             uses=PINS.format(200)),
        Step("Prime touch-up inside the tailcone, lying in it", "prime", 6, 2.0, "one", 1),
        Step("Run the tailcone's cables and conduit", "wire", 4, 4.0, "one"),
    ], after=[frames[-1]])[""]  # fmt: skip
    sides = kit.assembly("fuselage", [
        Step("Drill the {} side skin", "drill", 240, 5.5, uses=PINS.format(160)),
        Step("Deburr and dimple the {} side skin", "dimple", 230, 4.0),
        Step("Prime the {} side skin", "prime", 6, 2.0, "either", 1),
        Step("Rivet the {} side skin", "rivet", 260, 10.0, "two", uses=PINS.format(120)),
    ], sides=LEFT_RIGHT, after=[frames[-1], longerons[-1], floor[-1]])  # fmt: skip
    gear = kit.assembly("fuselage", [
        Step("Fit the {} float strut sockets", "fit", 3, 4.0, "two"),
        Step("Rivet the {} socket doublers", "rivet", 60, 3.0),
    ], sides=LEFT_RIGHT, after=[floor[-1]])  # fmt: skip
    doors = kit.assembly("fuselage", [
        Step("Cut out the {} door", "cut", 3, 2.5),
        Step("Bend and rivet the {} door frame", "rivet", 90, 5.0),
        Step("Trim the {} door window", "cut", 1, 2.0),
        Step("Hang the {} door", "fit", 4, 4.0, "two"),
    ], sides=LEFT_RIGHT, after=[sides["right"][-1]])  # fmt: skip
    whole = kit.join("fuselage", [
        Step("Join the cabin and the tailcone", "fit", 8, 8.0, "two"),
        Step("Rivet the joint all round", "rivet", 180, 8.0, "two"),
        Step("Fit the seat rails", "fit", 4, 4.0),
        Step("Fit the stick and the rudder pedals", "fit", 6, 7.0),
        Step("Fit the baggage floor", "fit", 3, 3.0),
        Step("Bend the top skin over the cabin", "bend", 2, 3.0, "two"),
        Step("Rivet the cabin top", "rivet", 220, 8.0, "two"),
        Step("Fit the windscreen, slowly", "fit", 2, 9.0, "two", 1),
    ], after=[cone[-1], firewall[-1], sides["left"][-1], sides["right"][-1]])  # fmt: skip
    ready = [whole[-1], tail[-1], *(g[-1] for g in gear.values()), *(d[-1] for d in doors.values())]
    return kit.join("fuselage", [
        Step("Set the tail on and check that it is square", "fit", 6, 6.0, "two"),
        Step("Rig the elevator and rudder cables", "fit", 4, 6.0),
    ], after=ready)  # fmt: skip


def _floats(kit: Kit) -> list[str]:
    body = kit.assembly("floats", [
        Step("Deburr the {} float's bulkheads", "deburr", 12, 4.5),
        Step("Lay the {} keel in the cradle", "fit", 3, 3.0, "two"),
        Step("Drill the {} float frame", "drill", 240, 6.0, uses=PINS.format(160)),
        Step("Prime the {} float's inside", "prime", 18, 4.0, "either", 2),
        Step("Rivet the {} float frame", "rivet", 220, 8.0),
        Step("Match-drill the {} float's bottom skins", "drill", 320, 8.0, uses=PINS.format(220)),
        Step("Dimple the {} bottom skins", "dimple", 300, 4.5),
        Step("Seal and rivet the {} keel seam", "seal", 3, 6.0, "two", 3),
        Step("Seal and rivet the {} chine seams", "seal", 4, 8.0, "two", 3),
        Step("Rivet the {} float's deck", "rivet", 260, 9.0, "two", uses=PINS.format(140)),
        Step("Fit the {} hatches and bilge tubes", "fit", 6, 4.0),
        Step("Fill the {} float with water and look for drips", "test", 1, 3.0, "either", 1),
        Step("Seal what dripped on the {} float", "seal", 2, 2.5, "one", 3),
        Step("Paint the {} float's bottom", "paint", 3, 5.0, "one", 1),
        Step("Fit the {} water rudder", "fit", 4, 4.0),
    ], sides=LEFT_RIGHT, delivery="float-kit")  # fmt: skip
    spreader = kit.assembly("floats", [
        Step("Cut the spreader bars and the struts", "cut", 6, 3.5),
        Step("Drill the strut ends", "drill", 48, 3.0),
        Step("Paint the bars and the struts", "paint", 2, 3.0, "either", 1),
    ], delivery="float-kit")[""]  # fmt: skip
    return kit.join("floats", [
        Step("Bolt the floats and the spreaders together", "fit", 8, 6.0, "two"),
        Step("Rig the water rudder cables", "fit", 4, 4.0),
    ], after=[body["left"][-1], body["right"][-1], spreader[-1]])  # fmt: skip


def _fitting_out(kit: Kit, wings: dict[str, list[str]], fuselage: list[str], floats: list[str]) -> None:
    engine = kit.assembly("fitting out", [
        Step("Uncrate the engine and check the packing list", "test", 1, 2.0),
        Step("Fit the mount to the firewall", "fit", 4, 4.0, "two"),
        Step("Hang the engine", "hang", 1, 5.0, "two"),
        Step("Fit the exhaust and its shields", "fit", 4, 4.0),
        Step("Plumb the fuel lines forward of the firewall", "plumb", 5, 6.0),
        Step("Fit the throttle and mixture cables", "fit", 3, 4.0),
        Step("Fit the baffles", "fit", 8, 9.0),
        Step("Bring the propeller in and torque it", "hang", 1, 3.0, "two"),
    ], after=[fuselage[-1]], delivery="engine")[""]  # fmt: skip
    cowl = kit.assembly("fitting out", [
        Step("Trim the cowling halves", "cut", 2, 6.0),
        Step("Fit the cowling fasteners", "fit", 10, 6.0),
        Step("Fill and sand the cowling", "fill", 2, 8.0, "either", 1),
    ], after=[engine[-1]])[""]  # fmt: skip
    panel = kit.assembly("fitting out", [
        Step("Cut the panel", "cut", 1, 4.0),
        Step("Wire the panel on the bench", "wire", 24, 22.0),
        Step("Fit the panel and its switches", "fit", 6, 5.0),
        Step("Wire the cabin runs", "wire", 14, 14.0),
        Step("Wire the engine sensors", "wire", 9, 9.0, "one"),
        Step("Wire the lights and the pitot heat", "wire", 6, 6.0),
        Step("Test every circuit, fuse by fuse", "test", 20, 6.0),
    ], after=[fuselage[-1]], delivery="panel")[""]  # fmt: skip
    cabin = kit.assembly("fitting out", [
        Step("Plumb the fuel selector and the gascolator", "plumb", 4, 5.0, "one"),
        Step("Plumb the brake-less pedals and the rudder lift", "plumb", 3, 4.0, "one"),
        Step("Fit the seats and the belts", "fit", 6, 5.0),
        Step("Cut and glue the carpet", "cut", 8, 5.0),
        Step("Seal the doors", "seal", 2, 3.0, "one", 1),
    ], after=[fuselage[-1]])[""]  # fmt: skip
    rig = kit.join("fitting out", [
        Step("Lift the fuselage onto the floats", "hang", 1, 8.0, "two"),
        Step("Hang the left wing", "hang", 1, 6.0, "two"),
        Step("Hang the right wing", "hang", 1, 6.0, "two"),
        Step("Rig the ailerons and the flaps", "fit", 8, 9.0, "two"),
    ], after=[engine[-1], floats[-1], wings["left"][-1], wings["right"][-1]])  # fmt: skip
    kit.join("fitting out", [
        Step("Fuel flow test, both tanks", "test", 2, 4.0, "two"),
        Step("First engine run, tied to the big oak", "test", 1, 4.0, "two"),
        Step("Paint the registration and the trim lines", "paint", 3, 10.0, "either", 2),
        Step("Weigh it", "test", 1, 3.0, "two"),
        Step("Go round with the inspector's list", "test", 30, 8.0),
    ], after=[rig[-1], cowl[-1], panel[-1], cabin[-1]])  # fmt: skip
