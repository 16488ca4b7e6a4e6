//! Two tablets, one server, a real socket.

mod common;

use automerge::Automerge;
use common::Bench;
use common::tablet::{Tablet, actor, author, edited, words};
use crownweir_record::wire::Message;
use crownweir_record::{DocumentId, Record};

fn texts(doc: &Automerge) -> Vec<String> {
    let mut all: Vec<_> =
        Record::from_automerge(doc.clone()).state().words.iter().map(|w| w.text.clone()).collect();
    all.sort();
    all
}

#[tokio::test]
async fn what_one_tablet_writes_reaches_the_other_and_the_store() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor", "lindqvist"]);
    let run = b.run().await;
    let (c1, c2) = (b.sign_in("okafor").await, b.sign_in("lindqvist").await);
    let mut t1 = Tablet::join(run.address, &c1, "tablet-1", true).await;
    let mut t2 = Tablet::join(run.address, &c2, "tablet-2", true).await;
    t1.follow(doc, Automerge::new()).await;
    t2.follow(doc, Automerge::new()).await;
    t1.until_safe(doc).await;
    t2.until_safe(doc).await;

    t1.edit(doc, &author("okafor"), actor(1), &[words("trap is dry")]);
    t1.push(doc, false).await;
    t1.until_safe(doc).await;
    assert_eq!(texts(&b.stored(doc)), ["trap is dry"], "acknowledged means stored");
    t2.until("the words of the other arrive", |t| texts(&t.docs[&doc].0) == ["trap is dry"]).await;

    t2.edit(doc, &author("lindqvist"), actor(2), &[words("vent is short")]);
    t2.push(doc, false).await;
    t2.until_safe(doc).await;
    t1.until("and back", |t| texts(&t.docs[&doc].0) == ["trap is dry", "vent is short"]).await;
    assert!(t1.refused.is_empty() && t2.refused.is_empty());
}

#[tokio::test]
async fn work_done_apart_on_two_tablets_converges_in_any_order() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor", "lindqvist"]);
    let run = b.run().await;
    let base = b.stored(doc);
    let one: Vec<_> = (0..60).map(|i| words(&format!("one {i:02}"))).collect();
    let mut mine = edited(base.clone(), &author("okafor"), actor(1), &one);
    for i in 0..20 {
        mine = edited(mine, &author("okafor"), actor(10 + i), &[words(&format!("later {i:02}"))]);
    }
    let theirs = edited(base, &author("lindqvist"), actor(2), &[words("two")]);
    let (c1, c2) = (b.sign_in("okafor").await, b.sign_in("lindqvist").await);
    let mut t2 = Tablet::join(run.address, &c2, "tablet-2", true).await;
    t2.follow(doc, theirs).await;
    t2.until_safe(doc).await;
    let mut t1 = Tablet::join(run.address, &c1, "tablet-1", true).await;
    t1.follow(doc, mine).await;
    t1.until_safe(doc).await;
    t2.until("everything arrives", |t| texts(&t.docs[&doc].0).len() == 81).await;
    assert_eq!(texts(&b.stored(doc)).len(), 81);
    assert_eq!(texts(&t1.docs[&doc].0), texts(&t2.docs[&doc].0));
}

#[tokio::test]
async fn job_of_others_and_unknown_job_are_unavailable_alike() {
    let b = Bench::new();
    let doc = b.job("P-1", &["lindqvist"]);
    let run = b.run().await;
    let mut t = Tablet::join(run.address, &b.sign_in("okafor").await, "tablet-1", true).await;
    for doc in [doc, DocumentId([9; 16])] {
        t.follow(doc, Automerge::new()).await;
        t.until("an answer", |t| t.unavailable.contains(&doc)).await;
        assert!(t.acknowledged(doc).is_empty());
    }
    assert!(t.refused.is_empty(), "asking is no offence");
}

#[tokio::test]
async fn supervisor_and_clerk_may_open_every_job() {
    let b = Bench::new();
    let doc = b.job("P-1", &["lindqvist"]);
    let run = b.run().await;
    for user in ["adeyemi", "pruitt"] {
        let mut t = Tablet::join(run.address, &b.sign_in(user).await, user, true).await;
        t.follow(doc, Automerge::new()).await;
        t.until_safe(doc).await;
    }
}

#[tokio::test]
async fn job_that_was_not_imported_cannot_be_brought_in_by_sync_but_is_kept_aside() {
    let b = Bench::new();
    let known = b.job("P-1", &["okafor"]);
    let run = b.run().await;
    let mut t = Tablet::join(run.address, &b.sign_in("okafor").await, "tablet-1", true).await;
    let stray = DocumentId([7; 16]);
    let doc = edited(b.stored(known), &author("okafor"), actor(1), &[words("mine")]);
    // The first message of an exchange carries no changes; the second would.
    t.follow(stray, doc.clone()).await;
    t.until("an answer", |t| t.unavailable.contains(&stray)).await;
    let mut message = automerge::sync::Message::decode(
        &automerge::sync::SyncDoc::generate_sync_message(&doc, &mut automerge::sync::State::new())
            .expect("a message")
            .encode(),
    )
    .expect("decodes");
    message.changes = doc.save().into();
    message.version = automerge::sync::MessageVersion::V2;
    let m = crownweir_record::wire::DocMessage {
        sender: "tablet-1".into(),
        target: "crownweir-server".into(),
        document: stray,
        data: message.encode(),
    };
    t.say(Message::Sync(m).encode()).await;
    t.until("a reason", |t| !t.refused.is_empty()).await;
    assert_eq!(t.refused[0].document, stray);
    assert!(t.refused[0].reason.contains("not on the server"), "{}", t.refused[0].reason);
    assert!(b.store.job(&stray.to_string()).expect("an answer").is_none());
    assert!(b.store.chunks(&stray.to_string()).expect("an answer").is_empty());
    let kept = b.store.quarantine().expect("an answer");
    assert_eq!(kept.len(), 1);
    assert_eq!(Automerge::load(&kept[0].bytes).expect("a document").get_heads(), doc.get_heads());
}

#[tokio::test]
async fn forged_author_is_refused_with_a_reason_and_kept_aside_and_others_go_on() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor", "lindqvist"]);
    let other = b.job("P-2", &["okafor"]);
    let run = b.run().await;
    let cookie = b.sign_in("okafor").await;
    let mut t = Tablet::join(run.address, &cookie, "tablet-1", true).await;
    let forged = edited(b.stored(doc), &author("lindqvist"), actor(1), &[words("not mine")]);
    let before = b.stored(doc).get_heads();
    t.follow(doc, forged).await;
    t.until("a refusal", |t| !t.refused.is_empty()).await;
    assert_eq!(t.refused[0].document, doc);
    assert!(!t.refused[0].kept.is_empty() && !t.refused[0].todo.is_empty());
    assert_eq!(b.stored(doc).get_heads(), before);
    assert_eq!(b.store.quarantine().expect("an answer").len(), 1);

    t.follow(other, Automerge::new()).await;
    t.until_safe(other).await;
    t.edit(other, &author("okafor"), actor(3), &[words("mine")]);
    t.push(other, false).await;
    t.until_safe(other).await;
    let mut t2 = Tablet::join(run.address, &b.sign_in("lindqvist").await, "tablet-2", true).await;
    t2.follow(doc, Automerge::new()).await;
    t2.until_safe(doc).await;
    assert!(texts(&t2.docs[&doc].0).is_empty());
}

#[tokio::test]
async fn refused_exchange_ends_and_does_not_loop() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor"]);
    let marker = b.job("P-2", &["okafor"]);
    let run = b.run().await;
    let mut t = Tablet::join(run.address, &b.sign_in("okafor").await, "tablet-1", true).await;
    t.follow(doc, edited(b.stored(doc), &author("lindqvist"), actor(1), &[words("not mine")])).await;
    t.until("a refusal", |t| !t.refused.is_empty()).await;
    // Everything said about the refused job has been answered once the marker, asked for after it, is here.
    let mut steps = 0;
    t.follow(marker, Automerge::new()).await;
    while !t.safe(marker) {
        assert!(t.step().await);
        steps += 1;
        assert!(steps < 20, "the exchange does not end");
    }
}

#[tokio::test]
async fn actor_of_another_user_is_refused() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor", "lindqvist"]);
    let run = b.run().await;
    let mut t1 = Tablet::join(run.address, &b.sign_in("okafor").await, "tablet-1", true).await;
    t1.follow(doc, edited(b.stored(doc), &author("okafor"), actor(1), &[words("first")])).await;
    t1.until_safe(doc).await;
    let mut t2 = Tablet::join(run.address, &b.sign_in("lindqvist").await, "tablet-2", true).await;
    t2.follow(doc, edited(b.stored(doc), &author("okafor"), actor(1), &[words("in his name")])).await;
    t2.until("a refusal", |t| !t.refused.is_empty()).await;
    assert_eq!(texts(&b.stored(doc)), ["first"]);
}

#[tokio::test]
async fn stale_session_is_closed_with_a_reason_on_the_socket() {
    let b = Bench::new();
    let run = b.run().await;
    for cookie in ["", "crownweir_session=0000"] {
        let mut t = Tablet::connect(run.address, cookie, "tablet-1").await;
        let (code, reason) = t.until_closed().await;
        assert_eq!(code, 4401);
        assert!(reason.contains("sign in again") && reason.contains("kept"), "{reason}");
    }
}

#[tokio::test]
async fn signing_out_closes_the_sockets_of_that_session_only() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor"]);
    let run = b.run().await;
    let (c1, c2) = (b.sign_in("okafor").await, b.sign_in("okafor").await);
    let mut t1 = Tablet::join(run.address, &c1, "tablet-1", true).await;
    let mut t2 = Tablet::join(run.address, &c2, "tablet-2", true).await;
    b.call("DELETE", "/api/session", &c1, "").await;
    assert_eq!(t1.until_closed().await.0, 4401);
    t2.follow(doc, Automerge::new()).await;
    t2.until_safe(doc).await;
}

#[tokio::test]
async fn second_join_on_a_socket_starts_over_and_one_from_elsewhere_replaces_it() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor"]);
    let run = b.run().await;
    let cookie = b.sign_in("okafor").await;
    let mut t1 = Tablet::join(run.address, &cookie, "tablet-1", true).await;
    t1.follow(doc, Automerge::new()).await;
    t1.until_safe(doc).await;
    t1.say_join(true).await;
    assert!(matches!(t1.next().await, Some(Message::Peer { .. })));
    t1.follow(doc, Automerge::new()).await;
    t1.until_safe(doc).await;
    let mut t1_again = Tablet::join(run.address, &cookie, "tablet-1", true).await;
    assert_eq!(t1.until_closed().await.0, 4409);
    t1_again.follow(doc, Automerge::new()).await;
    t1_again.until_safe(doc).await;
}

#[tokio::test]
async fn name_taken_by_another_user_does_not_throw_anybody_out() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor", "lindqvist"]);
    let run = b.run().await;
    let mut t1 = Tablet::join(run.address, &b.sign_in("okafor").await, "tablet", true).await;
    let mut t2 = Tablet::join(run.address, &b.sign_in("lindqvist").await, "tablet", true).await;
    for t in [&mut t1, &mut t2] {
        t.follow(doc, Automerge::new()).await;
        t.until_safe(doc).await;
    }
}

#[tokio::test]
async fn frames_that_are_not_the_protocol_close_that_socket_only() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor"]);
    let run = b.run().await;
    let cookie = b.sign_in("okafor").await;
    let mut good = Tablet::join(run.address, &cookie, "good", true).await;
    for frame in [vec![], vec![0xff; 64], b"not cbor".to_vec()] {
        let mut bad = Tablet::join(run.address, &cookie, "bad", true).await;
        bad.say(frame).await;
        assert_eq!(bad.until_closed().await.0, 1002);
    }
    let mut bad = Tablet::join(run.address, &cookie, "bad", true).await;
    let m = crownweir_record::wire::DocMessage {
        sender: "bad".into(),
        target: "crownweir-server".into(),
        document: doc,
        data: vec![1, 2, 3],
    };
    bad.say(Message::Sync(m).encode()).await;
    assert_eq!(bad.until_closed().await.0, 1002);
    good.follow(doc, Automerge::new()).await;
    good.until_safe(doc).await;
}

#[tokio::test]
async fn stopping_says_good_bye_and_ends() {
    let b = Bench::new();
    let mut run = b.run().await;
    let mut t = Tablet::join(run.address, &b.sign_in("okafor").await, "tablet-1", true).await;
    run.stop();
    assert_eq!(t.until_closed().await.0, 1001);
    (&mut run.ended).await.expect("no panic").expect("a clean end");
}

#[tokio::test]
async fn clerk_keeps_the_file_and_the_list_follows_but_does_not_inspect() {
    let b = Bench::new();
    let doc = b.job("P-1", &["okafor"]);
    let run = b.run().await;
    let cookie = b.sign_in("pruitt").await;
    let mut t = Tablet::join(run.address, &cookie, "office", true).await;
    t.follow(doc, Automerge::new()).await;
    t.until_safe(doc).await;
    let mut header = Record::from_automerge(b.stored(doc)).state().job().expect("a header").clone();
    header.address = "16 Weir Lane, Tarn Hollow".into();
    t.edit(doc, &author("pruitt"), actor(1), &[crownweir_record::Edit::Job(header)]);
    t.push(doc, false).await;
    t.until_safe(doc).await;
    assert!(t.refused.is_empty());
    let listed = async || b.get("/api/jobs", &cookie).await.json()[0]["address"].clone();
    while listed().await != "16 Weir Lane, Tarn Hollow" {
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }

    // Our own client does not offer it, so the entry is written by hand.
    let (mine, _) = t.docs.get_mut(&doc).expect("followed");
    let house = Record::from_automerge(mine.clone()).state().order[0].to_string();
    mine.set_actor(automerge::ActorId::from(actor(1)));
    let seen = serde_json::json!({
        "t": "seen", "at": 0, "subject": house, "fact": "x", "value": "yes", "how": "seen", "note": "", "after": [],
    });
    let mut tx = mine.transaction();
    let (_, entries) =
        automerge::ReadDoc::get(&tx, automerge::ROOT, "entries").expect("read").expect("entries");
    let key = format!("{}.2", &hex::encode(actor(1))[..16]);
    automerge::transaction::Transactable::put(&mut tx, &entries, key, seen.to_string()).expect("put");
    tx.commit();
    t.push(doc, false).await;
    t.until("a refusal", |t| !t.refused.is_empty()).await;
    assert!(t.refused[0].reason.contains("clerk"), "{}", t.refused[0].reason);
    assert!(Record::from_automerge(b.stored(doc)).state().facts.is_empty());
}

#[tokio::test]
async fn reader_that_does_not_keep_up_is_disconnected_and_the_others_go_on() {
    let mut b = Bench::new();
    b.restart(|s| s.frames_waiting = 4);
    let doc = b.job("P-1", &["okafor", "lindqvist"]);
    let run = b.run().await;
    let mut slow = Tablet::join(run.address, &b.sign_in("lindqvist").await, "slow", true).await;
    slow.follow(doc, Automerge::new()).await;
    slow.until_safe(doc).await;
    let mut quick = Tablet::join(run.address, &b.sign_in("okafor").await, "quick", true).await;
    quick.follow(doc, Automerge::new()).await;
    quick.until_safe(doc).await;
    // It asks and asks and does not read the answers: more than the system buffers and the queue can take.
    let mut asks = 0;
    let stops = async {
        let m = crownweir_record::wire::DocMessage {
            sender: "slow".into(),
            target: "crownweir-server".into(),
            document: DocumentId([9; 16]),
            data: automerge::sync::SyncDoc::generate_sync_message(
                &Automerge::new(),
                &mut automerge::sync::State::new(),
            )
            .expect("a message")
            .encode(),
        };
        let frame = Message::Request(m).encode();
        while slow.try_say(frame.clone()).await.is_some() {
            asks += 1;
            assert!(asks < 2_000_000, "nobody stops it");
        }
    };
    tokio::time::timeout(std::time::Duration::from_secs(60), stops).await.expect("it is stopped");
    quick.edit(doc, &author("okafor"), actor(1), &[words("goes on")]);
    quick.push(doc, false).await;
    quick.until_safe(doc).await;
    assert_eq!(texts(&b.stored(doc)), ["goes on"]);
}

#[tokio::test]
async fn session_that_ends_while_connected_closes_the_socket_at_the_next_ping() {
    let mut b = Bench::new();
    b.restart(|s| s.ping_every = std::time::Duration::from_millis(100));
    let run = b.run().await;
    let mut t = Tablet::join(run.address, &b.sign_in("okafor").await, "tablet-1", true).await;
    b.now.fetch_add(sync_server::accounts::SESSION_MAX_MS, std::sync::atomic::Ordering::SeqCst);
    assert_eq!(t.until_closed().await.0, 4401);
}
