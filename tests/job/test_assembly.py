from canthus.job.assembly import assembly, numbers


def figures(*parts, **settings):
    steps = [{"name": name.replace("_", "-"), "settings": values} for name, values in settings.items()]
    return {"parts": [{"name": name} for name in parts], "steps": steps}


def test_eyes_set_from_behind_come_before_the_cap_is_closed():
    orders = assembly(figures("head", "eye-left", "eye-right", "skull-cap", neck={"kind": "cup"}))
    seat = next(
        row for row, order in enumerate(orders) if order.startswith("Seat eye-left (2) and eye-right (3) from behind")
    )
    close = next(row for row, order in enumerate(orders) if order.startswith("Try skull-cap (4)"))
    assert seat < close
    assert "ball" in orders[-1]


def test_eyes_set_from_the_front_go_between_the_lids():
    orders = assembly(figures("head", "eye-left", carve_sockets={"entry": "front"}))
    assert any("from the front, between the lids" in order for order in orders)


def test_the_last_setting_of_a_step_counts():
    given = figures("head", neck={"kind": "cup"})
    given["steps"].append({"name": "neck", "settings": {"kind": "magnet"}})
    assert "magnet" in assembly(given)[-1]


def test_the_joint_is_told_with_its_size():
    """What the neck step measured, so that the body's hole, ball or magnet can be found by it."""
    peg = {"peg_diameter_mm": 7.82, "hole_diameter_mm": 8.0}
    magnet = {"magnet_mm": 6.0, "bore_depth_mm": 3.0}
    for kind, found, words in (
        ("peg", peg, "the peg (7.82 mm, for a hole of 8.00 mm) in the body"),
        ("cup", {"ball_diameter_mm": 6.0}, "on its ball (6.00 mm) once"),
        ("magnet", magnet, "the magnet (6.00 mm wide, its bore 3.00 mm deep) into"),
    ):
        step = {"name": "neck", "settings": {"kind": kind}, "figures": found}
        assert words in assembly({"parts": [{"name": "head"}], "steps": [step]})[-1]


def test_a_head_alone_has_no_eyes_to_seat():
    assert not any("Seat" in order or "Paint" in order for order in assembly(figures("head")))


def test_parts_are_numbered_in_the_order_they_go_together():
    names = ["plug-1", "skull-cap", "eye-right", "head", "eye-left"]
    assert list(numbers(names)) == ["head", "eye-right", "eye-left", "skull-cap", "plug-1"]
    assert list(numbers(names).values()) == [1, 2, 3, 4, 5]


def test_plugs_come_last_and_are_told_by_their_kind():
    for kind, words in (("straight", "Press plug-1"), ("taper", "cannot fall in"), ("lip", "recess")):
        orders = assembly(figures("head", "skull-cap", "plug-1", "plug-2", vent={"plugs": kind}, neck={"kind": "cup"}))
        assert words in orders[-2]
        assert "plug-1 (3) and plug-2 (4)" in orders[-2]


def test_hair_goes_on_last_over_the_cap():
    orders = assembly(figures("head", "eye-left", "hair", "skull-cap", "plug-1", neck={"kind": "cup"}))
    cap, plug, hair = (
        next(row for row, order in enumerate(orders) if name in order and "Seat" not in order)
        for name in ("skull-cap (3)", "plug-1 (4)", "hair (5)")
    )
    assert cap < plug < hair < len(orders) - 1
    assert not any("hair" in order for order in orders if "Seat" in order)
    assert not any("pins" in order for order in orders)  # it was not keyed
    given = figures("head", "hair", key={})
    given["steps"][0]["figures"] = {"part": "hair"}
    assert any("hair (2) dry: its pins go in one way only" in order for order in assembly(given))
