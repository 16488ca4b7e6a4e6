//! Loading the rulesets, judging the demo house, and what one observation costs.

use criterion::{Criterion, criterion_group, criterion_main};
use crownweir_engine::{Law, Reading, assess, judge_at};

fn house(c: &mut Criterion) {
    let files = bench::rulesets();
    let law = Law::load(&files).unwrap_or_else(|e| panic!("{e}"));
    let record = bench::walked_house();
    let state = record.state();
    let job = state.job().expect("the demo house has a permit").clone();
    let adopted = law.adopt(&job.adoption, &job.applied_on).unwrap_or_else(|e| panic!("{e}"));
    println!(
        "rulesets: {} files; in force: {} provisions; subjects: {}; final verdicts: {}",
        files.len(),
        adopted.provisions().len(),
        state.subjects.len(),
        assess(state, &adopted, "final").findings().len()
    );

    c.bench_function("load all rulesets (parse, check)", |b| b.iter(|| Law::load(&files).is_ok()));
    c.bench_function("fold one adoption", |b| {
        let date = job.applied_on.parse().expect("a date");
        b.iter(|| law.library().adopt(&job.adoption, date).map(|a| a.provisions().len()).ok());
    });
    c.bench_function("record to verdicts, whole house", |b| {
        b.iter(|| assess(state, &adopted, "final").findings().len())
    });
    let assessment = assess(state, &adopted, "final");
    c.bench_function("verdicts alone, whole house", |b| {
        b.iter(|| adopted.assess(assessment.world(), "final").len());
    });
    c.bench_function("judge and draw the job screen", |b| {
        b.iter(|| {
            let judgement = judge_at(state, &law, Some("final"), None);
            Reading::new(&law, state, &judgement).job("doc", None).places.len()
        });
    });
    let judgement = judge_at(state, &law, Some("final"), None);
    let fullest =
        judgement.places().walk.iter().max_by_key(|p| p.contents.len()).expect("a place").id.clone();
    c.bench_function("draw the fullest place, with reasons", |b| {
        let reading = Reading::new(&law, state, &judgement);
        b.iter(|| reading.place(&fullest).map(|p| p.subjects.len()));
    });
}

criterion_group! { name = benches; config = Criterion::default().sample_size(20); targets = house }
criterion_main!(benches);
