//! `cargo xtask up`.

use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command};
use std::time::{Duration, Instant};

use crate::ground::Ground;
use crate::problem::Problem;
use crate::step::say;
use crate::{USAGE, demo, server};

/// How long a healthy server may take to answer; it starts in well under a second.
const START: Duration = Duration::from_secs(30);

/// What stands behind `up`.
#[derive(Debug, PartialEq)]
pub struct Options {
    port: u16,
    data: Option<PathBuf>,
    prebuilt: bool,
}

impl Options {
    /// Reads the words behind `up`.
    pub fn read(words: &[String]) -> Result<Self, Problem> {
        let wrong = |what: String| Problem::Arguments { what, usage: USAGE };
        let mut options = Options { port: 8350, data: None, prebuilt: false };
        let mut words = words.iter();
        while let Some(word) = words.next() {
            let mut value = || words.next().ok_or_else(|| wrong(format!("`{word}` needs a value")));
            match word.as_str() {
                "--port" => {
                    let text = value()?;
                    options.port = text
                        .parse()
                        .map_err(|_| wrong(format!("`{text}` is not a port: give 1 to 65535")))?;
                }
                "--data" => options.data = Some(PathBuf::from(value()?)),
                "--prebuilt" => options.prebuilt = true,
                other => return Err(wrong(format!("`up` does not know `{other}`"))),
            }
        }
        Ok(options)
    }
}

/// Sets up, builds, seeds and serves until it is stopped.
pub fn up(ground: &Ground, options: &Options) -> Result<(), Problem> {
    // Before minutes of building, not after.
    check_port(options.port)?;
    if options.prebuilt {
        if !ground.dist().join("index.html").is_file() {
            return Err(Problem::Missing {
                what: "a built web shell (web-shell/dist/index.html)".into(),
                todo: "Unpack a release archive, which carries it, or run `up` without --prebuilt.".into(),
            });
        }
        server::build(ground)?;
    } else {
        server::build_with_shell(ground)?;
    }
    let data = options.data.clone().unwrap_or_else(|| ground.root.join("data"));
    demo::seed(ground, &data)?;

    let start = Instant::now();
    let listen = format!("127.0.0.1:{}", options.port);
    let mut serving = Command::new(ground.server())
        .arg("serve")
        .arg("--data")
        .arg(&data)
        .args(["--listen", &listen])
        .spawn()
        .map_err(|source| Problem::Start { program: "crownweir serve".into(), source })?;
    wait_until_healthy(&mut serving, options.port)?;
    say("serve", "answering", start);
    println!("\nhttp://localhost:{}\n", options.port);
    match demo::accounts(&data) {
        Some(accounts) => println!("{}", accounts.trim_end()),
        None => println!("(the data folder was not seeded here: sign in with its own accounts)"),
    }
    println!("\nCtrl-C stops it; what was recorded stays in {}.", data.display());
    let status =
        serving.wait().map_err(|source| Problem::Start { program: "crownweir serve".into(), source })?;
    if status.success() { Ok(()) } else { Err(Problem::Failed { program: "crownweir serve".into(), status }) }
}

fn check_port(port: u16) -> Result<(), Problem> {
    match TcpListener::bind((Ipv4Addr::LOCALHOST, port)) {
        Ok(_) => Ok(()),
        Err(e) => Err(Problem::Unexpected(format!(
            "port {port} of this machine cannot be used ({e}); stop what uses it or give another one: cargo xtask up --port {}",
            port.checked_add(1).unwrap_or(8350)
        ))),
    }
}

fn wait_until_healthy(serving: &mut Child, port: u16) -> Result<(), Problem> {
    let start = Instant::now();
    while start.elapsed() < START {
        if let Ok(Some(status)) = serving.try_wait() {
            return Err(Problem::Failed { program: "crownweir serve".into(), status });
        }
        if healthy(port) {
            return Ok(());
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    // It is ours and does not answer: do not leave it behind.
    let _ = serving.kill();
    Err(Problem::Unexpected(format!("the server did not answer on port {port} within {} s", START.as_secs())))
}

fn healthy(port: u16) -> bool {
    let answer = || -> std::io::Result<Vec<u8>> {
        let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port))?;
        stream.set_read_timeout(Some(Duration::from_secs(2)))?;
        stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")?;
        let mut head = vec![0; 12];
        stream.read_exact(&mut head)?;
        Ok(head)
    };
    answer().is_ok_and(|head| head == b"HTTP/1.1 200")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(words: &[&str]) -> Result<Options, String> {
        let words: Vec<String> = words.iter().map(ToString::to_string).collect();
        Options::read(&words).map_err(|e| e.to_string())
    }

    #[test]
    fn options_are_read_or_refused_with_what_is_wrong() {
        assert_eq!(read(&[]), Ok(Options { port: 8350, data: None, prebuilt: false }));
        let all = read(&["--port", "9000", "--data", "x", "--prebuilt"]);
        assert_eq!(all, Ok(Options { port: 9000, data: Some("x".into()), prebuilt: true }));
        assert!(read(&["--port", "ninety"]).is_err_and(|e| e.contains("`ninety` is not a port")));
        assert!(read(&["--port"]).is_err_and(|e| e.contains("needs a value")));
        assert!(read(&["--dat", "x"]).is_err_and(|e| e.contains("does not know `--dat`")));
    }

    #[test]
    fn a_port_in_use_is_said_before_anything_is_built() {
        let taken = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
        let port = taken.local_addr().expect("an address").port();
        assert!(check_port(port).is_err_and(|e| e.to_string().contains("--port")));
    }
}
