//! The face towards JavaScript: strings and bytes in, strings and bytes out.

use crownweir_rules::SourceFile;
use serde::Serialize;
use wasm_bindgen::prelude::*;

use crate::{Desk, DeskError, Session};

/// The engine of one page load; see `Desk` for what each call means.
#[wasm_bindgen]
#[derive(Default)]
pub struct Core {
    desk: Desk,
}

fn fail(error: DeskError) -> JsError {
    JsError::new(&error.to_string())
}

fn json<T: Serialize>(value: Result<T, DeskError>) -> Result<String, JsError> {
    serde_json::to_string(&value.map_err(fail)?).map_err(|e| JsError::new(&e.to_string()))
}

fn parse<'a, T: serde::Deserialize<'a>>(text: &'a str) -> Result<T, JsError> {
    serde_json::from_str(text).map_err(|e| fail(DeskError::Page(e)))
}

#[wasm_bindgen]
impl Core {
    #[wasm_bindgen(constructor)]
    pub fn new() -> Core {
        Core::default()
    }

    pub fn load_rulesets(&mut self, files_json: &str) -> Result<(), JsError> {
        let files: Vec<SourceFile> = parse(files_json)?;
        self.desk.load_rulesets(&files).map_err(fail)
    }

    pub fn begin(&mut self, session_json: &str, random: &[u8]) -> Result<(), JsError> {
        let session: Session = parse(session_json)?;
        self.desk.begin(session, random);
        Ok(())
    }

    pub fn open(&mut self, doc: &str, chunks: &[u8]) -> Result<(), JsError> {
        self.desk.open(doc, chunks).map_err(fail)
    }

    pub fn docs(&self) -> Vec<String> {
        self.desk.docs()
    }

    pub fn is_open(&self, doc: &str) -> bool {
        self.desk.is_open(doc)
    }

    pub fn close(&mut self, doc: &str) {
        self.desk.close(doc);
    }

    /// Milliseconds come as a double, as `Date.now()` gives them.
    pub fn propose(&mut self, doc: &str, command_json: &str, now_ms: f64) -> Result<Vec<u8>, JsError> {
        #[expect(clippy::cast_possible_truncation, reason = "a date in milliseconds is far below 2^53")]
        let now_ms = now_ms as i64;
        self.desk.propose(doc, command_json, now_ms).map_err(fail)
    }

    pub fn accept(&mut self, doc: &str) -> Result<(), JsError> {
        self.desk.accept(doc).map_err(fail)
    }

    pub fn discard(&mut self, doc: &str) -> Result<(), JsError> {
        self.desk.discard(doc).map_err(fail)
    }

    pub fn snapshot(&mut self, doc: &str) -> Result<Vec<u8>, JsError> {
        self.desk.snapshot(doc).map_err(fail)
    }

    pub fn job(&mut self, doc: &str) -> Result<String, JsError> {
        json(self.desk.job(doc))
    }

    pub fn place(&mut self, doc: &str, place: &str) -> Result<String, JsError> {
        json(self.desk.place(doc, place))
    }

    pub fn reason(&mut self, doc: &str, provision: &str, subject: &str) -> Result<String, JsError> {
        json(self.desk.reason(doc, provision, subject))
    }

    pub fn notice(&mut self, doc: &str) -> Result<String, JsError> {
        json(self.desk.notice(doc))
    }

    pub fn fact_history(&mut self, doc: &str, subject: &str, fact: &str) -> Result<String, JsError> {
        json(self.desk.fact_history(doc, subject, fact))
    }

    /// `subject` names whose fact it is; the vocabulary decides by the fact alone.
    pub fn read_value(
        &mut self,
        doc: &str,
        _subject: &str,
        fact: &str,
        text: &str,
    ) -> Result<String, JsError> {
        json(self.desk.read_value(doc, fact, text))
    }

    pub fn report(&mut self, doc: &str) -> Result<String, JsError> {
        json(self.desk.report(doc))
    }

    pub fn photos(&self, doc: &str) -> Result<String, JsError> {
        #[derive(Serialize)]
        struct Photo {
            sha256: String,
            bytes: u64,
        }
        let photos = self.desk.photos(doc);
        json(photos.map(|p| p.into_iter().map(|(sha256, bytes)| Photo { sha256, bytes }).collect::<Vec<_>>()))
    }

    pub fn link_open(&mut self, peer_id: &str) -> Vec<js_sys::Uint8Array> {
        vec![js_sys::Uint8Array::from(self.desk.link_open(peer_id).as_slice())]
    }

    pub fn link_follow(&mut self, doc: &str) -> Result<(), JsError> {
        self.desk.link_follow(doc).map_err(fail)
    }

    pub fn link_receive(&mut self, frame: &[u8]) -> Result<String, JsError> {
        json(self.desk.link_receive(frame))
    }

    pub fn staged(&self, doc: &str) -> Result<Vec<u8>, JsError> {
        self.desk.staged(doc).map_err(fail)
    }

    pub fn link_settle(&mut self) {
        self.desk.link_settle();
    }

    pub fn link_send(&mut self) -> Vec<js_sys::Uint8Array> {
        self.desk.link_send().iter().map(|frame| js_sys::Uint8Array::from(frame.as_slice())).collect()
    }

    pub fn link_close(&mut self) {
        self.desk.link_close();
    }

    pub fn standing(&self, doc: &str) -> Result<String, JsError> {
        json(self.desk.standing(doc))
    }
}
