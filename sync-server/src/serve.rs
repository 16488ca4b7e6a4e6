//! Listening, and stopping without haste.

use std::future::Future;
use std::net::SocketAddr;
use std::time::Duration;

use tokio::net::TcpListener;

use crate::{Shared, http};

/// How long open requests and sockets get to end after a stop was asked for.
const GRACE: Duration = Duration::from_secs(5);

/// Serves until `shutdown` resolves, then says good-bye to the sockets and lets open requests end.
pub async fn run(
    server: Shared,
    listener: TcpListener,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> std::io::Result<()> {
    let app = http::app(server.clone()).into_make_service_with_connect_info::<SocketAddr>();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let serving = tokio::spawn(async move {
        axum::serve(listener, app)
            .with_graceful_shutdown(async move {
                // An error means that the sender is gone, which is a stop as well.
                drop(stopped.await);
            })
            .await
    });
    shutdown.await;
    tracing::info!("stopping");
    drop(stop);
    // Nothing needs saving: whatever was acknowledged was durable before.
    server.hub.close(GRACE).await;
    match tokio::time::timeout(GRACE, serving).await {
        Ok(Ok(ended)) => ended,
        Ok(Err(e)) => Err(std::io::Error::other(e)),
        Err(_) => {
            tracing::warn!(
                "some requests did not end in time and were cut off; none of them was acknowledged"
            );
            Ok(())
        }
    }
}

/// Listens for an interrupt or a termination signal from now on; what it returns resolves on the first. To be called
/// before the address is printed: who reads it may ask for the end at once.
pub fn stop_signal() -> impl Future<Output = ()> + Send + 'static {
    #[cfg(unix)]
    let mut terminate = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()).ok();
    async move {
        let interrupt = async {
            if tokio::signal::ctrl_c().await.is_err() {
                std::future::pending::<()>().await;
            }
        };
        #[cfg(unix)]
        let terminate = async {
            match &mut terminate {
                Some(signal) => drop(signal.recv().await),
                None => std::future::pending().await,
            }
        };
        #[cfg(not(unix))]
        let terminate = std::future::pending::<()>();
        tokio::select! {
            () = interrupt => {}
            () = terminate => {}
        }
    }
}
