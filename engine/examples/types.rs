//! Prints the TypeScript types of everything that crosses the WASM boundary (`cargo xtask types` writes them).

use crownweir_engine::{Command, Report, ReportLine, view::*};
use ts_rs::{Config, TS};

macro_rules! print_all {
    ($($t:ty),* $(,)?) => {{
        let config = Config::new().with_large_int("number");
        $(println!("export {}\n", <$t as TS>::decl(&config));)*
    }};
}

fn main() {
    println!("// Generated from engine/src/view.rs and command.rs by `cargo xtask types`. Do not edit.\n");
    print_all!(
        AdoptionView,
        ClosingView,
        Command,
        CorrectionView,
        DisagreementView,
        DispositionView,
        DispositionWord,
        EntryForm,
        FactHistory,
        FactHistoryItem,
        FactState,
        FactView,
        HistoryView,
        JobView,
        KindView,
        Mark,
        NeedView,
        NoticeView,
        ObservationView,
        PhotoView,
        PlacePage,
        PlaceView,
        ReadValue,
        ReasonLine,
        ReasonPage,
        Report,
        ReportLine,
        StrikeView,
        SubjectView,
        Tally,
        VerdictView,
        VerdictWord,
        VisitView,
        WordView,
        WordsView,
    );
}
