//! The `crownweir` binary.

use std::io::Write as _;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use clap::builder::PossibleValuesParser;
use clap::{Parser, Subcommand};
use sync_server::accounts::{ROLES, hash_password};
use sync_server::cli::{self, CliError, Format, Outcome, Printed};
use sync_server::store::{Store, UserRow, Write};
use sync_server::{DataFolder, Server, Settings, demo, rulesets::Rulesets, serve, system_clock};

/// Offline-first field tool for residential plumbing inspections: sync server and command line.
#[derive(Parser)]
#[command(name = "crownweir", version)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serves tablets and the office until it is stopped.
    Serve {
        /// Folder of everything that lasts.
        #[arg(long)]
        data: PathBuf,
        /// Address to listen on; port 0 picks a free one.
        #[arg(long, default_value = "127.0.0.1:8077")]
        listen: SocketAddr,
        /// Folder of rulesets, in place of those built in.
        #[arg(long)]
        rulesets: Option<PathBuf>,
        /// People reach it by HTTPS through a proxy: mark cookies as secure.
        #[arg(long)]
        behind_tls: bool,
    },
    /// Seeds an empty data folder with an invented agency, its accounts and a day's jobs, and prints the accounts.
    Demo {
        /// Folder of everything that lasts.
        #[arg(long)]
        data: PathBuf,
        /// Folder of rulesets, in place of those built in.
        #[arg(long)]
        rulesets: Option<PathBuf>,
    },
    /// Adds an account, or sets a new name, role and password for one. The password is read from standard input.
    Account {
        /// Folder of everything that lasts.
        #[arg(long)]
        data: PathBuf,
        /// Sign-in name.
        #[arg(long)]
        user: String,
        /// Name as it stands in records.
        #[arg(long)]
        name: String,
        /// What the person may do.
        #[arg(long, value_parser = PossibleValuesParser::new(ROLES))]
        role: String,
        /// Name of the agency; needed once.
        #[arg(long)]
        agency: Option<String>,
    },
    /// Assesses a job and prints the verdicts with their reasons. Exit 0: everything holds; 1: something violates or is
    /// not determined yet; 2: the input cannot be used.
    Assess {
        /// A job file (JSON) or a saved record.
        job: PathBuf,
        /// The adoption to assess against.
        #[arg(long)]
        adoption: String,
        /// groundwork, rough, final or reinspection; the open visit's or the due one if not given.
        #[arg(long, value_parser = PossibleValuesParser::new(["groundwork", "rough", "final", "reinspection"]))]
        stage: Option<String>,
        /// How to print.
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
        /// Folder of rulesets, in place of those built in.
        #[arg(long)]
        rulesets: Option<PathBuf>,
    },
    /// Works on rulesets.
    Rules {
        #[command(subcommand)]
        act: RulesAct,
    },
}

#[derive(Subcommand)]
enum RulesAct {
    /// Loads and checks a folder of rulesets. Exit 0: they hold together; 2: they do not load.
    Check {
        /// The folder that holds the ruleset folders.
        dir: PathBuf,
        /// How to print.
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Runs the cases of a folder of rulesets. Exit 0: all pass; 1: one fails; 2: they do not load.
    Test {
        /// The folder that holds the ruleset folders.
        dir: PathBuf,
        /// How to print.
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
}

type Failure = Box<dyn std::error::Error>;

fn main() -> ExitCode {
    let cli = Cli::parse();
    tracing_subscriber::fmt().with_writer(std::io::stderr).init();
    let done = match cli.command {
        Command::Serve { data, listen, rulesets, behind_tls } => {
            serve_until_stopped(data, listen, rulesets, behind_tls)
        }
        Command::Demo { data, rulesets } => seed_demo(data, rulesets),
        Command::Account { data, user, name, role, agency } => account(data, user, name, role, agency),
        Command::Assess { job, adoption, stage, format, rulesets } => Rulesets::open(rulesets.as_deref())
            .map_err(Failure::from)
            .and_then(|r| printed(cli::assess(&job, &adoption, stage.as_deref(), format, &r))),
        Command::Rules { act: RulesAct::Check { dir, format } } => printed(cli::check_rules(&dir, format)),
        Command::Rules { act: RulesAct::Test { dir, format } } => printed(cli::test_rules(&dir, format)),
    };
    match done {
        Ok(code) => code,
        Err(e) => {
            eprintln!("crownweir: {e}");
            ExitCode::from(2)
        }
    }
}

fn serve_until_stopped(
    data: PathBuf,
    listen: SocketAddr,
    rulesets: Option<PathBuf>,
    behind_tls: bool,
) -> Result<ExitCode, Failure> {
    let folder = DataFolder::hold(data)?;
    let rulesets = Rulesets::open(rulesets.as_deref())?;
    let law = cli::law(&rulesets)?;
    let store = Arc::new(folder.store()?);
    if store.setting("agency")?.is_none() {
        eprintln!("crownweir: nobody can sign in yet; stop and add an account with `crownweir account`");
    } else if store.setting("agency")?.as_deref() == Some(demo::AGENCY) && !listen.ip().is_loopback() {
        eprintln!(
            "crownweir: this is the demo, whose passwords are public; do not keep records that matter in it"
        );
    }
    let settings = Settings { behind_tls, ..Settings::new(folder.path.clone()) };
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async move {
        let server = Server::new(settings, store, rulesets.without_cases()?, law, system_clock())?;
        let listener = tokio::net::TcpListener::bind(listen)
            .await
            .map_err(|e| format!("cannot listen on {listen}: {e}; choose another address with --listen"))?;
        let stop = serve::stop_signal();
        println!("listening on http://{}", listener.local_addr()?);
        serve::run(server, listener, stop).await?;
        Ok(ExitCode::SUCCESS)
    })
}

fn printed(done: Result<Printed, CliError>) -> Result<ExitCode, Failure> {
    let done = done?;
    // A reader that has seen enough (`| head`) closes the pipe; that is no failure of the command.
    drop(std::io::stdout().write_all(done.text.as_bytes()));
    Ok(match done.outcome {
        Outcome::Holds => ExitCode::SUCCESS,
        Outcome::FallsShort => ExitCode::from(1),
    })
}

fn seed_demo(data: PathBuf, rulesets: Option<PathBuf>) -> Result<ExitCode, Failure> {
    let law = cli::law(&Rulesets::open(rulesets.as_deref())?)?;
    let folder = DataFolder::hold(data)?;
    let store: Arc<dyn Store> = Arc::new(folder.store()?);
    let fresh = demo::seed_accounts(&store)?;
    let jobs = demo::seed_jobs(&store, &law, system_clock()())?;
    println!(
        "{} {} in {}",
        demo::AGENCY,
        if fresh { "is set up" } else { "was there already" },
        folder.path.display()
    );
    println!("{jobs} jobs added; sign in with user and password:");
    for a in demo::ACCOUNTS {
        println!("  {:<10} {:<17} {:<11} {}", a.user, a.password, a.role, a.name);
    }
    Ok(ExitCode::SUCCESS)
}

fn account(
    data: PathBuf,
    user: String,
    name: String,
    role: String,
    agency: Option<String>,
) -> Result<ExitCode, Failure> {
    let user = user.trim().to_lowercase();
    if user.is_empty() || user.len() > 128 || user.contains(char::is_whitespace) {
        return Err("a sign-in name has 1 to 128 characters and no spaces; nothing was changed".into());
    }
    let mut password = String::new();
    std::io::stdin().read_line(&mut password)?;
    let password = password.trim_end_matches(['\n', '\r']);
    if password.chars().count() < 8 {
        return Err(
            "a password has at least 8 characters; give it on standard input; nothing was changed".into()
        );
    }
    let folder = DataFolder::hold(data)?;
    let store = folder.store()?;
    let mut writes = Vec::new();
    match (store.setting("agency")?, agency) {
        (None, None) => {
            return Err("this folder has no agency yet: name it with --agency; nothing was changed".into());
        }
        (_, Some(value)) => writes.push(Write::Setting { name: "agency".into(), value }),
        (Some(_), None) => {}
    }
    let password = hash_password(password).map_err(|p| p.message)?;
    let done = format!("{user} ({name}) may sign in as {role}");
    writes.push(Write::User(UserRow { user, name, role, password }));
    store.commit(&writes)?;
    println!("{done}");
    Ok(ExitCode::SUCCESS)
}
