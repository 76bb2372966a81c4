//! Where the work can hurt someone, and what to do then.

/// A danger of a day's work.
#[derive(Clone, Copy, Debug)]
pub struct Caution {
    pub about: &'static str,
    pub text: &'static str,
    /// Where the advice is from.
    pub source: &'static str,
}

/// What stands under every caution.
pub const DEFER: &str =
    "Local codes and licensed practice decide. Manufacturer's instructions come before this tool's defaults.";

/// In the order of the day.
pub const CAUTIONS: [Caution; 11] = [
    Caution {
        about: "Old floor under the carpet: possible asbestos",
        text: "Old tile, sheet flooring, black mastic or loose vermiculite may hold asbestos. Lift one corner first; if tiles come \
               with the carpet, stop. Do not sand, scrape or break it. Have it tested, and let licensed people remove it.",
        source: "29 CFR 1926.1101 presumes asbestos in resilient flooring laid by 1980 (from memory)",
    },
    Caution {
        about: "Old paint on baseboards and jambs: possible lead",
        text: "Take all old paint for lead paint until a test says no. Undercutting jambs and prying baseboards makes dust: \
               follow the rules for lead-safe work, and keep children away.",
        source: "CRI 105 §8.7; EPA rule for renovation, 40 CFR 745",
    },
    Caution {
        about: "Lifting and carrying",
        text: "Cut the old carpet into pieces that one or two people can carry. Roll, don't fold; clear the way first; lift the \
               new roll with enough people, with straight backs, and turn with your feet.",
        source: "common practice; NIOSH lifting guidance, DHHS 94-110",
    },
    Caution {
        about: "Tack strip: pins and nails",
        text: "Gloves and eye protection when you break out old strip; lay it pins down in a bucket at once. Nobody in socks, no \
               children and no pets in a room with open strip.",
        source: "common practice",
    },
    Caution {
        about: "Dust, damp and mould",
        text: "Wear a mask for the tear-out, open a window, bag the pad. Wet floor, a musty smell or dark stains: stop, find the \
               water first, and do not lay carpet over it.",
        source: "common practice",
    },
    Caution {
        about: "Screws and nails into the floor: pipes, wires, heating",
        text: "A screw reaches at least 1 in into the joist and should not go more than 1 1/4 in past the panel: holes for wires and \
               pipes may begin there. Stop when a screw refuses. No nails or screws into a heated floor.",
        source: "clearance of bored holes: NEC 300.4(A)(1); CRI 105 §11.1 for radiant floors",
    },
    Caution {
        about: "Knives",
        text: "A fresh blade needs less force. Cut away from the hand that holds and from your knees; glove on the holding hand; \
               retract it when you put it down; old blades go into a sharps tin.",
        source: "common practice",
    },
    Caution {
        about: "Seaming iron: heat and fumes",
        text: "The iron and the melted adhesive burn. Keep it on its tray, on a sound cord and a protected outlet, never alone. \
               Air the room while you seam and seal.",
        source: "common practice; tape maker's settings first",
    },
    Caution {
        about: "Knees",
        text: "Knee pads always. The kicker only positions carpet; stretch with the power stretcher, which spares the knees.",
        source: "NIOSH Alert 90-104; CRI installation standard §16.5.1",
    },
    Caution {
        about: "Stretcher force",
        text: "A power stretcher pushes hard on the far wall. Spread its foot over a board along the studs; not against a weak \
               partition, glass, a hearth or a stair rail.",
        source: "common practice",
    },
    Caution {
        about: "Stairs and the house's people",
        text: "Close off open stairs while the old carpet is off. Keep ways out free. Show the people of the house what is sharp, hot \
               or loose before you leave for a break.",
        source: "common practice",
    },
];
