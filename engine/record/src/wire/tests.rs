//! Frames of automerge-repo are read, ours read back, and any bytes are answered.

use super::*;
use proptest::prelude::*;

/// Frames as `cbor.encode` of automerge-repo 2.5.6 wrote them.
fn from_js(hex_parts: &[&str]) -> Message {
    decode(&hex::decode(hex_parts.concat()).unwrap()).unwrap()
}

fn doc() -> DocumentId {
    DocumentId(std::array::from_fn(|i| u8::try_from(i).unwrap()))
}

fn doc_message(data: &[u8]) -> DocMessage {
    DocMessage { sender: "tablet-1".into(), target: "server".into(), document: doc(), data: data.to_vec() }
}

#[test]
fn a_javascript_join_is_read() {
    let join = from_js(&[
        "b900046474797065646a6f696e6873656e6465724964687461626c65742d316c706565724d65746164617461b9000269",
        "73746f72616765496463732d316b6973457068656d6572616cf47819737570706f7274656450726f746f636f6c566572",
        "73696f6e73816131",
    ]);
    let metadata = PeerMetadata { storage_id: Some("s-1".into()), is_ephemeral: false, crownweir: false };
    assert_eq!(join, Message::Join { sender: "tablet-1".into(), metadata, versions: vec!["1".into()] });
}

#[test]
fn a_javascript_join_with_an_undefined_storage_is_read() {
    let join = from_js(&[
        "b900046474797065646a6f696e6873656e6465724964687461626c65742d316c706565724d65746164617461b9000269",
        "73746f726167654964f76b6973457068656d6572616cf57819737570706f7274656450726f746f636f6c56657273696f",
        "6e73816131",
    ]);
    let metadata = PeerMetadata { storage_id: None, is_ephemeral: true, crownweir: false };
    assert_eq!(join, Message::Join { sender: "tablet-1".into(), metadata, versions: vec!["1".into()] });
}

#[test]
fn a_join_without_versions_speaks_version_one() {
    let join =
        from_js(&["b900036474797065646a6f696e6873656e6465724964687461626c65742d31686d65746164617461b90000"]);
    let metadata = PeerMetadata::default();
    assert_eq!(join, Message::Join { sender: "tablet-1".into(), metadata, versions: vec!["1".into()] });
}

#[test]
fn the_answer_of_a_javascript_server_is_read() {
    let peer = from_js(&[
        "b90005647479706564706565726873656e6465724964667365727665726c706565724d65746164617461b90000777365",
        "6c656374656450726f746f636f6c56657273696f6e6131687461726765744964687461626c65742d31",
    ]);
    let metadata = PeerMetadata::default();
    let (sender, target, version) = ("server".into(), "tablet-1".into(), "1".into());
    assert_eq!(peer, Message::Peer { sender, target, metadata, version });
}

#[test]
fn javascript_document_messages_are_read() {
    let sync = from_js(&[
        "b9000564747970656473796e636873656e6465724964687461626c65742d31687461726765744964667365727665726a",
        "646f63756d656e744964781a3142686833705539674c585a694e444c36504561314773396668646461746143010203",
    ]);
    assert_eq!(sync, Message::Sync(doc_message(&[1, 2, 3])));
    let request = from_js(&[
        "b90005647479706567726571756573746873656e6465724964687461626c65742d316874617267657449646673657276",
        "65726a646f63756d656e744964781a3142686833705539674c585a694e444c36504561314773396668646461746140",
    ]);
    assert_eq!(request, Message::Request(doc_message(&[])));
    let unavailable = from_js(&[
        "b9000464747970656f646f632d756e617661696c61626c656873656e6465724964667365727665726874617267657449",
        "64687461626c65742d316a646f63756d656e744964781a3142686833705539674c585a694e444c365045613147733966",
        "68",
    ]);
    let (sender, target) = ("server".into(), "tablet-1".into());
    assert_eq!(unavailable, Message::DocUnavailable { sender, target, document: doc() });
}

#[test]
fn a_javascript_count_beyond_32_bits_is_read() {
    let ephemeral = from_js(&[
        "b90007647479706569657068656d6572616c6873656e6465724964687461626c65742d31687461726765744964667365",
        "727665726a646f63756d656e744964781a3142686833705539674c585a694e444c3650456131477339666865636f756e",
        "74fb41f2a05f200000006973657373696f6e49646361626364646174614109",
    ]);
    let Message::Ephemeral { count, data, .. } = ephemeral else { panic!("{ephemeral:?}") };
    assert_eq!((count, data), (5_000_000_000, vec![9]));
}

#[test]
fn gossip_is_passed_over() {
    let gossip = from_js(&[
        "b900056474797065781a72656d6f74652d737562736372697074696f6e2d6368616e67656873656e6465724964687461",
        "626c65742d3168746172676574496466736572766572636164648163732d326672656d6f766580",
    ]);
    assert_eq!(gossip, Message::Other { kind: "remote-subscription-change".into() });
}

fn name() -> impl Strategy<Value = String> + Clone {
    "[a-zA-Z0-9-]{1,40}"
}

fn message() -> impl Strategy<Value = Message> {
    let document = any::<[u8; 16]>().prop_map(DocumentId);
    let data = prop::collection::vec(any::<u8>(), 0..200);
    let metadata = (prop::option::of(name()), any::<bool>(), any::<bool>()).prop_map(
        |(storage_id, is_ephemeral, crownweir)| PeerMetadata { storage_id, is_ephemeral, crownweir },
    );
    let doc_message = (name(), name(), document.clone(), data.clone())
        .prop_map(|(sender, target, document, data)| DocMessage { sender, target, document, data });
    prop_oneof![
        (name(), metadata.clone(), prop::collection::vec(name(), 0..3))
            .prop_map(|(sender, metadata, versions)| Message::Join { sender, metadata, versions }),
        (name(), name(), metadata, name()).prop_map(|(sender, target, metadata, version)| {
            Message::Peer { sender, target, metadata, version }
        }),
        doc_message.clone().prop_map(Message::Sync),
        doc_message.prop_map(Message::Request),
        (name(), name(), document.clone()).prop_map(|(sender, target, document)| Message::DocUnavailable {
            sender,
            target,
            document
        }),
        (name(), name(), document.clone(), 0..(1u64 << 53), name(), data).prop_map(
            |(sender, target, document, count, session, data)| Message::Ephemeral {
                sender,
                target,
                document,
                count,
                session,
                data
            }
        ),
        name().prop_map(|sender| Message::Leave { sender }),
        (name(), name(), ".{0,80}").prop_map(|(sender, target, message)| Message::Error {
            sender,
            target,
            message
        }),
        (name(), name(), document, ".{0,80}", ".{0,80}", ".{0,80}").prop_map(
            |(sender, target, document, reason, kept, todo)| Message::Refused(Refused {
                sender,
                target,
                document,
                reason,
                kept,
                todo
            })
        ),
    ]
}

proptest! {
    #[test]
    fn every_message_reads_back(message in message()) {
        prop_assert_eq!(decode(&message.encode()), Ok(message));
    }

    #[test]
    fn any_bytes_are_answered(bytes: Vec<u8>) {
        let _ = decode(&bytes);
    }

    #[test]
    fn a_spoilt_message_is_answered(
        message in message(), at: prop::sample::Index, byte: u8, cut: prop::sample::Index
    ) {
        let mut frame = message.encode();
        let at = at.index(frame.len());
        frame[at] = byte;
        let _ = decode(&frame);
        frame.truncate(cut.index(frame.len()));
        prop_assert!(decode(&frame).is_err());
    }
}

#[test]
fn deep_nesting_is_refused_without_recursing_into_it() {
    let mut frame = vec![0xa1, 0x64, b't', b'y', b'p', b'e'];
    frame.extend(std::iter::repeat_n(0x81, 1 << 20));
    assert!(matches!(decode(&frame), Err(DecodeError::NotAMessage { .. })));
}

#[test]
fn announced_sizes_reserve_no_memory() {
    // A byte string and an array that claim 2^62 members and hold none.
    for head in [0x5b, 0x9b] {
        let mut frame = vec![0xa1, 0x64, b'd', b'a', b't', b'a', head];
        frame.extend((1u64 << 62).to_be_bytes());
        assert!(decode(&frame).is_err());
    }
}

#[test]
fn limits_are_held() {
    let long = Message::Leave { sender: "x".repeat(257) }.encode();
    assert_eq!(decode(&long), Err(DecodeError::TooLong { field: "senderId", most: 256 }));
    let limits = Limits { frame: 10, ..Limits::default() };
    assert!(matches!(decode_within(&long, &limits), Err(DecodeError::TooLarge { most: 10, .. })));
    let mut followed = Message::Leave { sender: "x".into() }.encode();
    followed.push(0);
    assert_eq!(decode(&followed), Err(DecodeError::Trailing { bytes: 1 }));
}

#[test]
fn what_is_missing_is_named() {
    let frame = Message::Other { kind: "sync".into() }.encode();
    assert_eq!(decode(&frame).unwrap_err().to_string(), "a `sync` message lacks `senderId`");
}
