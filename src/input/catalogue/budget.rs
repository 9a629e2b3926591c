//! Keys of what tolerances cost.

use super::Kind::{Choice, Numbers, Table, Text};
use super::Need::{Default, Optional, Required};
use super::{Key, from_zero, key, positive};

/// Keys in the order of a plan.
#[rustfmt::skip] // one line a key
pub(super) const KEYS: &[Key] = &[
    key("cost", Table, Optional, "What keeping the tolerances costs in hours, for `railtrue budget`; an error that is not named keeps its planned tolerance.", "[cost] parallelism = { law = \"reciprocal\", hours = 4, at_mm = 0.5, fixed_hours = 1 }"),
    key("cost.*", Table, Optional, "What keeping the tolerance of the error of this name costs in hours. Tolerances in it are the greatest deviation either way, or the zone of a straightness or waviness.", "Your own hours: setting, measuring, milling."),
    key("cost.*.law", Choice(&["reciprocal", "reciprocal_squared", "table"]), Required, "How hours rise as the tolerance t shrinks: fixed + b/t, fixed + b/t^2, or straight between the rows of a table.", "reciprocal."),
    key("cost.*.hours", positive(1e6), Optional, "Hours at the tolerance at_mm (at_mrad), the fixed ones included.", ""),
    key("cost.*.at_mm|at_mrad", positive(1e4), Optional, "Tolerance at which it takes so many hours.", ""),
    key("cost.*.fixed_hours", from_zero(1e6), Default("0"), "Hours that no tolerance saves.", "Setting up the instrument."),
    key("cost.*.tightest_mm|tightest_mrad", positive(1e4), Optional, "Tightest tolerance that may be asked for.", "A twentieth of the planned one if left out."),
    key("cost.*.loosest_mm|loosest_mrad", positive(1e4), Optional, "Loosest tolerance that may be asked for.", "Five times the planned one if left out."),
    key("cost.*.table_mm|table_mrad", Numbers { least: 0.0, most: 1e4, length: 0 }, Optional, "Tolerances of a table, rising; none outside them is asked for.", ""),
    key("cost.*.table_hours", Numbers { least: 0.0, most: 1e6, length: 0 }, Optional, "Hours at each of these tolerances.", ""),
    key("budget", Table, Optional, "What an hour costs.", ""),
    key("budget.money_per_hour", positive(1e9), Optional, "Money for an hour of setting or making.", ""),
    key("budget.currency", Text, Default(""), "Name of the money.", ""),
];
