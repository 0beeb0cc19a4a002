"""The invented kit of the sample dunlin: a composite single-seater, in a builder's words."""

from __future__ import annotations

from benchmarks.invented.workshop.kit import Kit, Step
from forecast.files.plan import Plan

LEFT_RIGHT = ("left", "right")


def dunlin_plan() -> Plan:
    """The plan: tail, wing, fuselage, controls and cabin, surface and first run."""
    kit = Kit(letters={"tail": "T", "wing": "W", "fuselage": "F", "systems": "S", "surface": "P"})
    tail = _tail(kit)
    wing = _wing(kit)
    fuselage = _fuselage(kit)
    systems = _systems(kit, fuselage)
    _surface(kit, tail, wing, systems)
    return kit.plan


def _foil(name: str, panels: int, hours: float) -> list[Step]:
    """A moulded surface: skins trimmed, spar laid up, halves bonded."""
    return [
        Step(f"Trim the {{}} {name} skins to the line", "cut", 2, hours * 0.5),
        Step(f"Lay up the {{}} {name} spar", "laminate", 3 * panels, hours, "either", 1),
        Step(f"Sand the {{}} {name}'s bonding edges", "sand", panels, hours * 0.5),
        Step(f"Bond the {{}} {name} halves", "bond", 2, hours * 0.75, "two", 2),
        Step(f"Sand the {{}} {name}'s seam and glass over it", "laminate", 4, hours * 0.75, "either", 1),
    ]


def _tail(kit: Kit) -> list[str]:
    fin = kit.assembly("tail", _foil("fin", 2, 3.0))[""]
    rudder = kit.assembly("tail", [*_foil("rudder", 1, 2.0), Step("Hang the rudder", "fit", 3, 2.5)])[""]
    plane = kit.assembly("tail", _foil("tailplane", 2, 3.0), sides=LEFT_RIGHT)
    elevator = kit.assembly("tail", _foil("elevator", 1, 2.0), sides=LEFT_RIGHT)
    halves = [ids[-1] for made in (plane, elevator) for ids in made.values()]
    return kit.join("tail", [
        Step("Fit the tailplane joiner", "fit", 4, 4.0),
        Step("Hang the elevators and check that they move together", "fit", 4, 3.5, "two"),
    ], after=[fin[-1], rudder[-1], *halves])  # fmt: skip


def _wing(kit: Kit) -> list[str]:
    spar = kit.assembly("wing", [
        Step("Check the moulded spar for straightness with a fishing line", "test", 2, 1.5),
        Step("Lay up the spar doublers", "laminate", 14, 6.0, "either", 1),
        Step("Drill the spar pins with the jig", "drill", 6, 4.0, "two"),
    ], sides=LEFT_RIGHT)  # fmt: skip
    panel = kit.assembly("wing", [
        Step("Trim the {} wing skins", "cut", 2, 3.5),
        Step("Sand the {} skins where they will be bonded", "sand", 6, 4.5),
        Step("Bond the {} ribs in", "bond", 9, 6.0, "either", 2),
        Step("Lay up the {} tank bay", "laminate", 10, 6.0, "either", 2),
        Step("Seal the {} tank bay and test it with water", "seal", 3, 4.0, "either", 2),
        Step("Bond the {} spar in", "bond", 3, 5.0, "two", 2),
        Step("Close the {} wing, everything wet at once", "bond", 4, 9.0, "two", 3),
        Step("Glass the {} leading edge seam", "laminate", 8, 6.0, "either", 1),
        Step("Cut the {} aileron free and cap its edges", "cut", 3, 4.0),
        Step("Hang the {} aileron", "fit", 4, 4.0),
    ], sides=LEFT_RIGHT, after={side: [spar[side][-1]] for side in LEFT_RIGHT})  # fmt: skip
    return [ids[-1] for ids in panel.values()]


def _fuselage(kit: Kit) -> list[str]:
    shell = kit.assembly("fuselage", [
        Step("Trim the fuselage halves", "cut", 2, 5.0, "two"),
        Step("Lay up the bulkheads on the glass table", "laminate", 18, 9.0, "either", 1),
        Step("Cut the bulkheads out", "cut", 5, 3.5),
        Step("Bond the bulkheads into the left half", "bond", 5, 6.0, "either", 2),
        Step("Lay up the seat back and the floor", "laminate", 12, 7.0, "either", 1),
        Step("Sand the joint all round", "sand", 8, 5.0),
        Step("Bring the halves together", "bond", 2, 8.0, "two", 3),
        Step("Glass the joint inside, head first", "laminate", 12, 7.0, "one", 1),
        Step("Glass the joint outside", "laminate", 10, 5.0, "either", 1),
    ], delivery="fuselage-mouldings")[""]  # fmt: skip
    canopy = kit.assembly("fuselage", [
        Step("Trim the canopy with warm hands and a slow blade", "cut", 1, 6.0),
        Step("Lay up the canopy frame", "laminate", 10, 7.0, "either", 1),
        Step("Bond the canopy to its frame", "bond", 1, 4.0, "two", 2),
        Step("Hang the canopy and fit its latch", "fit", 5, 6.0),
    ], after=[shell[-1]])[""]  # fmt: skip
    gear = kit.assembly("fuselage", [
        Step("Lay up the gear leg sockets", "laminate", 12, 5.0, "either", 2),
        Step("Fit the gear legs and align the wheels", "fit", 4, 7.0, "two"),
        Step("Fit the tail wheel", "fit", 3, 3.0),
    ], after=[shell[-1]])[""]  # fmt: skip
    return [canopy[-1], gear[-1]]


def _systems(kit: Kit, fuselage: list[str]) -> list[str]:
    controls = kit.assembly("systems", [
        Step("Fit the stick and its torque tube", "fit", 5, 6.0),
        Step("Make the push rods", "cut", 6, 5.0),
        Step("Fit the rudder pedals and cables", "fit", 5, 6.0, "one"),
        Step("Fit the flap lever", "fit", 3, 4.0, "one"),
    ], after=fuselage)[""]  # fmt: skip
    engine = kit.assembly("systems", [
        Step("Fit the engine mount and hang the engine", "hang", 2, 7.0, "two"),
        Step("Plumb the fuel from tank to engine", "plumb", 6, 7.0),
        Step("Fit the exhaust", "fit", 3, 3.0),
        Step("Trim and fit the cowling", "fit", 6, 9.0),
    ], after=fuselage, delivery="engine")[""]  # fmt: skip
    wiring = kit.assembly("systems", [
        Step("Cut the panel and try the instruments in it", "cut", 1, 4.0),
        Step("Wire the panel on the bench", "wire", 14, 12.0),
        Step("Wire the fuselage", "wire", 9, 9.0, "one"),
        Step("Test every circuit", "test", 12, 4.0),
    ], after=fuselage)[""]  # fmt: skip
    return [controls[-1], engine[-1], wiring[-1]]


def _surface(kit: Kit, tail: list[str], wing: list[str], systems: list[str]) -> None:
    filled = kit.assembly("surface", [
        Step("Fill the {} wing", "fill", 4, 9.0, "either", 1),
        Step("Sand the {} wing with the long board", "sand", 8, 14.0),
        Step("Prime the {} wing and look along it", "paint", 2, 4.0, "either", 1),
    ], sides=LEFT_RIGHT, after=wing)  # fmt: skip
    body = kit.assembly("surface", [
        Step("Fill the fuselage and the tail", "fill", 6, 12.0, "either", 1),
        Step("Sand the fuselage and the tail", "sand", 10, 18.0),
        Step("Prime the fuselage and the tail", "paint", 3, 5.0, "either", 1),
    ], after=[*tail, *systems])[""]  # fmt: skip
    kit.join("surface", [
        Step("Paint it white, all of it", "paint", 4, 16.0, "two", 3),
        Step("Rig it and measure every angle", "fit", 8, 8.0, "two"),
        Step("Weigh it", "test", 1, 3.0, "two"),
        Step("First engine run", "test", 1, 3.0, "two"),
        Step("Go through the inspector's list", "test", 20, 6.0),
    ], after=[filled["left"][-1], filled["right"][-1], body[-1]])  # fmt: skip
