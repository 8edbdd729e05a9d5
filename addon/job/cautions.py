"""What can hurt someone on the way from the scan to the shelf, for the end of the report.

Facts with their sources; the advice is common practice. Local rules and the suppliers' sheets always come first.
"""

FIRST = (
    "The rules of the place you work in and the safety sheets of your resin, solvent, printer and scanner come before "
    "anything written here."
)

CAUTIONS: tuple[tuple[str, str], ...] = (
    # Acrylates sensitise: radtech.org, safe handling of UV/EB materials.
    # Emissions at every step: Buildings 2022, 12(8), 1222, doi 10.3390/buildings12081222.
    (
        "Resin",
        "Liquid resin can make skin allergic for good. Wear nitrile or neoprene gloves, not latex, and eye protection. "
        "Pouring, printing, washing and curing all give off vapours and fine particles: work with good ventilation or "
        "extraction, away from where people live and eat.",
    ),
    # Flash point 53 °F, explosive limits 2.0 to 12.7 %, limits 400 ppm (8 h) and 500 ppm (15 min): NIOSH npgd0359.
    (
        "Solvent",
        "Isopropyl alcohol gives off vapour that ignites from about 12 °C on, so in any room. No flames, no sparks, "
        "lids on, air moving. Used wash liquid holds resin: treat and dispose of it as resin, never down the drain.",
    ),
    (
        "Hollow parts",
        "Rinse the inside through the vents until it runs clear, let it dry, and cure it from the inside too. Resin "
        "left in a closed hollow leaks or splits the part weeks later.",
    ),
    # Test cylinder 31.75 mm wide, 16 CFR 1501.4; EN 71-1 uses the same kind of cylinder for under 36 months.
    (
        "Small parts",
        "Separate eyes, plugs and most small heads fit the cylinder that toy rules use to find what a child can choke "
        "on. A portrait head is not a toy: keep it and its parts from children under three.",
    ),
    # IEC 60825-1 (lasers), IEC 62471 (lamps); the note on seizures is common practice.
    (
        "Scanner light",
        "Use only light that is rated safe for eyes (laser class 1; lamps of the exempt group) on a face, and have the "
        "eyes closed if the maker asks for it. Flashing light can bring on seizures: ask the sitter first.",
    ),
    # GDPR article 4(14) and article 9, recital 51; rights to one's likeness differ by country.
    (
        "The sitter",
        "The scan of a face is personal data, and in many places a person's likeness is protected by law. Have the "
        "sitter's consent to the scan and to each copy, keep the files on your own machine, delete them when asked. "
        "Canthus sends nothing anywhere.",
    ),
)
