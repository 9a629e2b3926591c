//! What an installation costs at least: its random numbers, and the arithmetic of the map as it is structured, in single precision,
//! each timed alone. No memory, no order of work, nothing that is merely convenient is counted.

use super::clock::best_of;
use super::dense::Products;
use super::normals;
use multiversion::{multiversion, target::target_cfg_f};
use railtrue::draw::Draws;
use railtrue::evaluate::{Evaluator, service_states};
use railtrue::input::sources::Spread;
use railtrue::input::{ErrorKind, Plan};
use std::hint::black_box;

/// Operations; sums hold differences, absolute values, largest and smallest of two as well.
#[derive(Debug, Default, Clone, Copy)]
struct Operations {
    products: f64,
    sums: f64,
}

/// What they cost: seconds of a product with a sum, a product, a sum.
#[derive(Debug, Clone, Copy)]
struct Costs {
    pair: f64,
    product: f64,
    sum: f64,
}

impl Operations {
    fn seconds(&self, costs: &Costs) -> f64 {
        let paired = self.products.min(self.sums);
        paired * costs.pair + (self.products - paired) * costs.product + (self.sums - paired) * costs.sum
    }

    fn add(&mut self, times: usize, products: usize, sums: usize) {
        self.products += (times * products) as f64;
        self.sums += (times * sums) as f64;
    }

    /// Multiply-adds: a product and a sum at a time, the rest of either alone.
    fn multiply_adds(&self) -> f64 {
        self.products.max(self.sums)
    }
}

pub struct Bound {
    operations: Operations,
    roots: f64,
    normals: usize,
    uniforms: usize,
    cost: normals::Cost,
    costs: Costs,
    /// Seconds of a root.
    root: f64,
}

/// Seconds of one operation of a loop over so many numbers.
macro_rules! seconds {
    ($of:ident, $width:expr) => {{
        let width: usize = $width;
        let seconds = best_of(200, || {
            let numbers: [Vec<f32>; 2] = $of(TURNS, black_box([vec![1.0 + 1e-6; width + 1], vec![1.0; width]]));
            assert!(black_box(numbers)[0][0].is_finite());
        });
        seconds / (TURNS * width) as f64
    }};
}

impl Bound {
    pub fn of(evaluator: &Evaluator<'_>) -> Self {
        let draws = Draws::new(evaluator.plan(), evaluator.machine.rails());
        let (normals, uniforms) = random_numbers(evaluator.plan(), &draws);
        let of_program = operations(evaluator, &draws);
        Self {
            operations: of_program.operations,
            roots: of_program.roots,
            normals,
            uniforms,
            cost: normals::cost(),
            costs: costs(),
            root: seconds!(roots, FEW),
        }
    }

    /// `one_thread`: seconds of an installation as measured.
    pub fn print(&self, one_thread: f64, dense: &Products) {
        let (uniforms, normals) = (self.uniforms as f64 * self.cost.uniform, self.normals as f64);
        let random = uniforms + normals * self.cost.normal.min(self.cost.ziggurat);
        let straight = self.operations.seconds(&self.costs);
        let roots = self.roots * self.root;
        // Roots have a unit of their own and may hide behind the rest.
        let least = random + straight.max(roots);
        println!(
            "  lower bound, one thread: {:.3} us, reached within {:.1} times: {} normals, {} uniforms {:.3} us (by the ziggurat {:.3} us); {:.0} products, {:.0} sums {:.3} us; {:.0} roots {:.3} us",
            1e6 * least,
            one_thread / least,
            self.normals,
            self.uniforms,
            1e6 * random,
            1e6 * (uniforms + normals * self.cost.ziggurat),
            self.operations.products,
            self.operations.sums,
            1e6 * straight,
            self.roots,
            1e6 * roots
        );
        let rate = self.operations.multiply_adds() / one_thread;
        let share = |product: f64| format!("{:.0} %", 100.0 * rate / product);
        println!(
            "  multiply-adds of the bound, thousand million a second: {:.1} in the study, drawing included, {:.1} in registers; the study's are {} of nalgebra's dense product, {} of NumPy's",
            rate / 1e9,
            1e-9 / self.costs.pair,
            share(dense.nalgebra),
            dense.numpy.map_or("SKIPPED".into(), share)
        );
    }
}

/// Normal and uniform numbers of an installation.
fn random_numbers(plan: &Plan, draws: &Draws<'_>) -> (usize, usize) {
    let (mut normals, mut uniforms) = (0, 0);
    let all = draws.places().len();
    for source in plan.errors.sources.iter().filter(|s| !s.in_service) {
        let modes = if source.kind.is_profile() { draws.modes().count() } else { 0 };
        let own = draws.places().iter().filter(|p| p.kind() == source.kind).count() - modes;
        normals += modes;
        match source.spread {
            Spread::Normal { .. } => normals += own,
            Spread::Uniform | Spread::Triangular => uniforms += own,
        }
    }
    assert_eq!(normals + uniforms, all);
    (normals, uniforms)
}

/// Operations, and roots.
#[derive(Default)]
struct All {
    operations: Operations,
    roots: f64,
}

/// The arithmetic of one installation of balls, as few operations as the model's structure leaves.
fn operations(evaluator: &Evaluator<'_>, draws: &Draws<'_>) -> All {
    let (plan, machine) = (evaluator.plan(), &evaluator.machine);
    let (stations, blocks) = (plan.frame.stations_x_mm.len(), plan.block_count());
    let situations = plan.duty.len() * service_states(plan).len() * evaluator.drags().len();
    let living = plan.duty.iter().filter(|c| c.share > 0.0).count() * situations / plan.duty.len();
    let modes = draws.modes().count();
    let profiles = plan.errors.sources.iter().filter(|s| s.kind.is_profile()).count();
    let is_line = |k: ErrorKind| {
        use ErrorKind as K;
        matches!(k, K::Span | K::Parallelism | K::Height | K::VerticalParallelism | K::CrossLevel(_) | K::CrossLevelTwist(_))
    };
    let lines = plan.errors.sources.iter().filter(|s| is_line(s.kind)).count();
    let numbers = draws.places().len();
    let made = numbers - lines - profiles * (modes + 1);
    let places: usize = (0..2).map(|side| distinct(plan.trucks[side].blocks.iter().map(|b| b.x_mm))).sum();
    let tools = distinct(plan.duty.iter().map(|c| c.payload_y_mm + 1e6 * c.payload_arm_mm[0] + 1e12 * c.payload_arm_mm[1]));
    let springs: usize = machine.joint_springs().iter().map(ExactSizeIterator::len).sum();
    let slots = machine.take_up_limits().iter().filter(|s| **s > 0.0).count();
    // Six of the joints' springs follow from the balance of the bridge.
    let joints = springs.saturating_sub(6);
    let rows = 10 + joints + 4 * tools + machine.float_count();
    // Lateral, vertical and roll of the trucks feel the six of them, pitch and yaw their four; so does what a tool point does
    // along the rails and about the vertical.
    let products = 6 * 6 + 4 * 4 + 10 * joints + (2 * 10 + 2 * 4) * tools + 6 * machine.float_count();
    let mut all = All::default();
    let o = &mut all.operations;
    // Once an installation: shapes to their peak-to-valley, take-ups, and what no station changes.
    o.add(profiles * draws.modes().on_grid.nrows(), modes, modes + 2);
    o.add(profiles * modes, 1, 0);
    o.add(slots, numbers, numbers + 2);
    o.add(rows, made + slots, made + slots);
    o.add(2 * blocks, 1, 1);
    // At every station: rails (value and slope), the seats of the trucks, poses, joints, tool points, floats.
    o.add(stations * places / 2, 2 * modes * profiles, 2 * modes * profiles);
    o.add(stations * places / 2 * lines / 2, 1, 3);
    o.add(stations * places, 7, 7);
    o.add(stations, products, products);
    // Five loads of every block without the situation: the truck's motion there less the rail's, times its stiffness.
    o.add(stations * blocks, 9, 15);
    o.add(stations, machine.float_count() + tools, 3 * (machine.float_count() + tools));
    // In every situation P and its largest value, two of five sizes shared by two situations; where it has a share, life.
    o.add(stations * blocks * situations / 2, 0, 5 + 2 * (9 + 1));
    o.add(stations * blocks * living, 7, 4);
    // Whether P0 may be a new largest one, and the pull.
    o.add(stations * blocks, 1, 3);
    // Largest lengths of joint forces and of what the tool points do in each season.
    o.add(stations * springs, 1, 2);
    o.add(stations * situations, springs, springs + machine.joint_springs().len());
    o.add(stations * tools, 3, 6);
    o.add(stations * tools * service_states(plan).len(), 3, 4);
    all.roots = (stations * blocks * living) as f64;
    all
}

fn distinct(values: impl Iterator<Item = f64>) -> usize {
    let mut list: Vec<f64> = values.collect();
    list.sort_by(f64::total_cmp);
    list.dedup();
    list.len()
}

/// Turns of each loop, short enough to fall between two others on a shared processor; numbers in registers for narrow and for wide ones.
const TURNS: usize = 4_000;
const FEW: usize = 48;
const MANY: usize = 128;

/// Loops over numbers that stay in registers, in one version for each kind of processor.
macro_rules! register_loop {
    ($name:ident, $width:expr, |$a:ident, $b:ident, $by:ident| $step:expr) => {
        #[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx2+fma", "x86_64+avx2+fma"))]
        fn $name(turns: usize, mut numbers: [Vec<f32>; 2]) -> [Vec<f32>; 2] {
            let (mut first, mut second): ([f32; $width], [f32; $width]) = ([0.0; $width], [0.0; $width]);
            first.copy_from_slice(&numbers[0][..$width]);
            second.copy_from_slice(&numbers[1][..$width]);
            let $by = numbers[0][$width];
            for _ in 0..turns {
                for i in 0..$width {
                    let ($a, $b) = (&mut first[i], &mut second[i]);
                    $step;
                }
            }
            // Written side by side: that is what makes the compiler take them side by side.
            numbers[0][..$width].copy_from_slice(&first);
            numbers[1][..$width].copy_from_slice(&second);
            numbers
        }
    };
}

/// A product and a sum, in one instruction where there is such.
macro_rules! pair {
    ($a:expr, $by:expr) => {
        if target_cfg_f!(target_feature = "fma") { (*$a).mul_add($by, $by) } else { *$a * $by + $by }
    };
}

register_loop!(pairs_few, FEW, |a, _b, by| *a = pair!(a, by));
register_loop!(pairs_many, MANY, |a, _b, by| *a = pair!(a, by));
register_loop!(products_few, FEW, |a, _b, by| *a *= by);
register_loop!(products_many, MANY, |a, _b, by| *a *= by);
register_loop!(sums_few, FEW, |a, _b, by| *a += by);
register_loop!(sums_many, MANY, |a, _b, by| *a += by);
register_loop!(roots, FEW, |a, b, by| {
    *a += by;
    *b += a.sqrt();
});

fn costs() -> Costs {
    Costs {
        pair: seconds!(pairs_few, FEW).min(seconds!(pairs_many, MANY)),
        product: seconds!(products_few, FEW).min(seconds!(products_many, MANY)),
        sum: seconds!(sums_few, FEW).min(seconds!(sums_many, MANY)),
    }
}
