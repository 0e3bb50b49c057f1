//! How long the sell plan takes on a full shelf: `cargo run --release -p trade --example plan_timing [LOTS] [SEEDS]`.

#[path = "../tests/plan/shop.rs"]
#[expect(clippy::unwrap_used, reason = "fixed figures of a made-up shop")]
mod shop;

use std::time::Instant;

use trade::plan::{Limits, Planner};

fn main() {
    let mut args = std::env::args().skip(1).filter_map(|arg| arg.parse::<u64>().ok());
    let lots = usize::try_from(args.next().unwrap_or(60)).unwrap_or(60);
    let seeds = args.next().unwrap_or(10);
    println!("seed   prepare     solve   margins  (ms)   open  margins  exact  total  proof");
    for seed in 0..seeds {
        let mut instance = shop::shop(seed, lots);
        if std::env::var_os("FLAT").is_some() {
            for lot in &mut instance.lots {
                lot.load.volume = trade::volume::Volume::ZERO;
            }
        }
        let problem = instance.problem();
        let start = Instant::now();
        let mut planner = Planner::new(&problem);
        let prepared = start.elapsed();
        let plan = planner.solve(&Limits::default());
        let solved = start.elapsed();
        let margins = if std::env::var_os("MARGINS").is_some() {
            planner.margins(&plan, &Limits::default())
        } else {
            vec![]
        };
        let done = start.elapsed();
        let exact = margins.iter().filter(|margin| margin.exact).count();
        let ms = |time: std::time::Duration| time.as_secs_f64() * 1e3;
        println!(
            "{seed:>4} {:>9.1} {:>9.1} {:>9.1} {:>11} {:>8} {exact:>6}  {:.2}  {:?}",
            ms(prepared),
            ms(solved - prepared),
            ms(done - solved),
            plan.deliveries.len(),
            margins.len(),
            plan.total,
            plan.proof
        );
    }
}
