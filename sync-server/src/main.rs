//! The `crownweir` binary.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use clap::{Parser, Subcommand};
use sync_server::store::Store;
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
    /// Seeds an empty data folder with an invented agency, its accounts and a day's jobs.
    Demo {
        /// Folder of everything that lasts.
        #[arg(long)]
        data: PathBuf,
    },
}

type Failure = Box<dyn std::error::Error>;

fn main() -> ExitCode {
    let cli = Cli::parse();
    tracing_subscriber::fmt().with_writer(std::io::stderr).init();
    let done = match cli.command {
        Command::Serve { data, listen, rulesets, behind_tls } => serve_until_stopped(data, listen, rulesets, behind_tls),
        Command::Demo { data } => seed_demo(data),
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
    let store = Arc::new(folder.store()?);
    let settings = Settings { behind_tls, ..Settings::new(folder.path.clone()) };
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async move {
        let server = Server::new(settings, store, rulesets, system_clock())?;
        let listener = tokio::net::TcpListener::bind(listen)
            .await
            .map_err(|e| format!("cannot listen on {listen}: {e}; choose another address with --listen"))?;
        println!("listening on http://{}", listener.local_addr()?);
        serve::run(server, listener, serve::stop_signal()).await?;
        Ok(ExitCode::SUCCESS)
    })
}

fn seed_demo(data: PathBuf) -> Result<ExitCode, Failure> {
    let folder = DataFolder::hold(data)?;
    let store: Arc<dyn Store> = Arc::new(folder.store()?);
    let fresh = demo::seed_accounts(&store)?;
    println!("{} {} in {}", demo::AGENCY, if fresh { "is set up" } else { "was there already" }, folder.path.display());
    for a in demo::ACCOUNTS {
        println!("  {:<10} {:<17} {:<11} {}", a.user, a.password, a.role, a.name);
    }
    Ok(ExitCode::SUCCESS)
}
