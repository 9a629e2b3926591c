//! `start`: a plan from a few figures, the rest filled in and marked as assumed.

use super::args::StartArgs;
use super::machines::load;
use super::{Done, Failure, output};
use crate::present::numbers::significant;

/// The plan with its gaps.
const TEMPLATE: &str = include_str!("starter.toml");

/// A ball block: size, then C and C0 (N), moment ratings in roll and pitch (N m), stiffness (N/um), and in roll and pitch
/// (N m/mrad).
type Size = (u32, [f64; 7]);

/// Of the usual order for each size; common practice, no source.
const BLOCKS: [Size; 6] = [
    (15, [8_500.0, 13_500.0, 60.0, 50.0, 150.0, 8.0, 18.0]),
    (20, [14_000.0, 23_000.0, 140.0, 120.0, 220.0, 18.0, 42.0]),
    (25, [20_000.0, 33_000.0, 230.0, 200.0, 280.0, 30.0, 70.0]),
    (30, [30_000.0, 48_000.0, 400.0, 350.0, 350.0, 60.0, 130.0]),
    (35, [42_000.0, 65_000.0, 700.0, 550.0, 430.0, 110.0, 220.0]),
    (45, [70_000.0, 105_000.0, 1_500.0, 1_200.0, 560.0, 240.0, 480.0]),
];

pub(super) fn run(args: &StartArgs) -> Result<Done, Failure> {
    output::refuse_taken(&args.plan)?;
    let truck = ((args.bridge_kg + args.payload_kg) / 5.0).ceil();
    // Three quarters of the payload near one rail, half of the rest, on two blocks; twice that for what is not known yet.
    let block_n = 9.81 * (0.75 * args.payload_kg + 0.5 * args.bridge_kg + truck) / 2.0 * 2.0;
    let needed = block_n * (args.life_km / 100.0).cbrt() * 1.2;
    let &(size, [c, c0, roll, pitch, k, k_roll, k_pitch]) = BLOCKS.iter().find(|b| b.1[0] >= needed).unwrap_or(&BLOCKS[BLOCKS.len() - 1]);
    let rail = args.stroke_mm + 500.0;
    let bays = (rail / 500.0).round().max(1.0);
    // A box of 2.7 kg/dm3 with a wall of a thirtieth of its height, height 1.4 times its width.
    let area = args.bridge_kg / (2.7e-6 * args.span_mm);
    let height = (area * 30.0 / 3.2).sqrt();
    let (i_vertical, i_lateral) = (0.14 * area * height * height, 0.09 * area * height * height);
    let number = |x: f64| if x.fract() == 0.0 { format!("{x:.0}") } else { format!("{x}") };
    let round = |x: f64| significant(x, 3).replace(',', "");
    let mut text = TEMPLATE.to_string();
    for (gap, value) in [
        ("SPAN", number(args.span_mm)),
        ("RAIL", number(rail)),
        ("PITCH", number(rail / bays)),
        ("STROKE_TO", number(args.stroke_mm + 250.0)),
        ("TRUCK", number(truck)),
        ("SIZE", size.to_string()),
        ("C", number(c)),
        ("C0", number(c0)),
        ("MROLL", number(roll)),
        ("MPITCH", number(pitch)),
        ("M0ROLL", number(1.6 * roll)),
        ("M0PITCH", number(1.6 * pitch)),
        ("K", number(k)),
        ("KROLL", number(k_roll)),
        ("KPITCH", number(k_pitch)),
        ("PRELOAD", number(0.03 * c)),
        ("BRIDGE", number(args.bridge_kg)),
        ("AREA", round(area)),
        ("IV", round(i_vertical)),
        ("IL", round(i_lateral)),
        ("J", round(0.6 * i_lateral)),
        ("DRAG", round(0.01 * 9.81 * (args.payload_kg + args.bridge_kg) / 2.0)),
        ("PAYLOAD", number(args.payload_kg)),
        ("NEAR", round(0.15 * args.span_mm)),
        ("FAR", round(0.85 * args.span_mm)),
        ("MIDDLE", round(0.5 * args.span_mm)),
        ("LIFE", number(args.life_km)),
    ] {
        text = text.replace(&format!("@{gap}@"), &value);
    }
    output::write_new(&args.plan, text.as_bytes())?;
    let started = load(&args.plan)?;
    started.machines()?;
    let shown = output::shown(&args.plan);
    let next = output::quoted(&args.plan);
    let warning = if c < needed {
        "\nNo ball block up to size 45 carries this for the wanted life by a rough count: more blocks or a larger size are needed.\n"
    } else {
        ""
    };
    let text = format!(
        "{shown} was written from your five figures, with blocks of size {size}. {} of its {} values are assumed: where its tables say source = \"assumed\".\n{warning}Replace what you know, write its source, then run railtrue study {next}\n",
        started.plan.assumed_values(),
        started.plan.inputs.len()
    );
    Ok(Done { text, within: true })
}
