//! Planning off the request threads, and remembering what was planned: two phones that look at the same plan make the
//! box think once.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use rust_decimal::Decimal;
use sha2::{Digest, Sha256};
use trade::ids::LotId;
use trade::outlet::Outlet;
use trade::plan::habit::{Habit, nearest_yard};
use trade::plan::{Choices, Limits, Margin, Plan, PlanLot, Planner, Problem};
use trade::costs::Facts;

/// How long a search may take before it shows the best it has, with the bound.
const PATIENCE: Duration = Duration::from_secs(8);
/// How many plans are remembered.
const REMEMBERED: usize = 8;

/// Everything a plan depends on.
#[derive(Debug, Clone)]
pub struct Question {
    pub lots: Vec<PlanLot>,
    pub outlets: Vec<Outlet>,
    pub facts: Facts,
    pub choices: Choices,
}

/// A plan with its margins, and what the habit of driving all to the nearest yard would bring.
#[derive(Debug)]
pub struct Answer {
    pub plan: Plan,
    pub margins: BTreeMap<LotId, Margin>,
    pub keeps: BTreeMap<LotId, Decimal>,
    pub nearest_yard: Option<Habit>,
    pub took: Duration,
}

type Key = [u8; 32];

/// Plans that were made, by what they depended on.
#[derive(Debug, Default)]
pub struct Plans {
    made: Mutex<Vec<(Key, Arc<Answer>)>>,
}

impl Plans {
    /// The plan for `question`: remembered, or made on a thread of its own.
    pub async fn answer(self: &Arc<Self>, question: Question) -> Arc<Answer> {
        let key = key(&question);
        if let Some(answer) = self.remembered(key) {
            return answer;
        }
        let plans = Arc::clone(self);
        let work = tokio::task::spawn_blocking(move || {
            let answer = Arc::new(answer(&question));
            plans.remember(key, &answer);
            answer
        });
        match work.await {
            Ok(answer) => answer,
            // Only a panic in the search ends here; the layer around the handlers makes a page of it.
            Err(broken) => std::panic::resume_unwind(broken.into_panic()),
        }
    }

    fn remembered(&self, key: Key) -> Option<Arc<Answer>> {
        let made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        made.iter().find(|(known, _)| *known == key).map(|(_, answer)| Arc::clone(answer))
    }

    fn remember(&self, key: Key, answer: &Arc<Answer>) {
        let mut made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        if made.len() >= REMEMBERED {
            made.remove(0);
        }
        made.push((key, Arc::clone(answer)));
    }
}

/// Every part of a question shows in its `Debug` form, so two questions with the same form are the same question.
fn key(question: &Question) -> Key {
    Sha256::digest(format!("{question:?}")).into()
}

fn answer(question: &Question) -> Answer {
    let started = Instant::now();
    let out_of_patience = || started.elapsed() > PATIENCE;
    let limits = Limits { stop: Some(&out_of_patience), ..Limits::default() };
    let problem = Problem {
        lots: &question.lots,
        outlets: &question.outlets,
        facts: &question.facts,
        choices: &question.choices,
    };
    let mut planner = Planner::new(&problem);
    let plan = planner.solve(&limits);
    let margins = planner.margins(&plan, &limits);
    Answer {
        margins: margins.into_iter().map(|margin| (margin.lot.clone(), margin)).collect(),
        keeps: question.lots.iter().map(|lot| (lot.load.lot.clone(), lot.keep)).collect(),
        nearest_yard: nearest_yard(&problem),
        plan,
        took: started.elapsed(),
    }
}
