//! The workbench in the browser: a queue of offers, their cases, the library, boards for teaching.
//!
//! In: a data folder. Out: a server on this machine's own address, whose pages need nothing from outside.
//! It shows what `examination` found and writes what people decide; it knows no algorithm, and the crates
//! below it know nothing of threads that wait.
//!
//! ```text
//! DATA/offers/<case>/     case.toml, photos, page.html when one was saved
//! DATA/library/           see `casebook::library`
//! DATA/desk/              the desk's own: index, pictures, boards, tasks, token
//! ```
//!
//! Way in: [`Desk::open`], [`Desk::serve`]. Then `routes` (which address does what), `guard` (what every
//! request must pass), `intake` (uploads), `work` (examinations), `tasks` (what else takes
//! long), `pages` (what people see).
//! Sources: `wcag22`.

mod assets;
mod desk;
mod edit;
mod error;
mod events;
mod files;
mod guard;
mod intake;
mod pages;
mod routes;
mod row;
mod shown;
mod store;
mod tasks;
mod telling;
mod work;

use std::net::{Ipv4Addr, SocketAddr};
use std::path::Path;
use std::sync::Arc;

use jiff::Timestamp;

pub use error::DeskError;

/// A desk that listens and has not begun to answer.
#[derive(Debug)]
pub struct Desk {
    inner: Arc<desk::Desk>,
    listener: std::net::TcpListener,
    address: SocketAddr,
}

impl Desk {
    /// Opens a data folder and takes a port of this machine's own address (127.0.0.1).
    ///
    /// # Input
    /// `data`: made when it is missing. `port`: 0 takes a free one. `clock`: the time now.
    ///
    /// # Errors
    /// [`DeskError`] when the folder cannot be used, another desk works on it, or the port is taken.
    pub fn open(data: &Path, port: u16, clock: fn() -> Timestamp) -> Result<Self, DeskError> {
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
        let fail = |source| DeskError::Listen { address, source };
        let listener = std::net::TcpListener::bind(address).map_err(fail)?;
        listener.set_nonblocking(true).map_err(fail)?;
        let address = listener.local_addr().map_err(fail)?;
        if !address.ip().is_loopback() {
            return Err(DeskError::NotLoopback { address });
        }
        desk::make_folder(data)?;
        Ok(Self { inner: Arc::new(desk::Desk::open(data, address.port(), clock)?), listener, address })
    }

    /// Where it answers: `http://127.0.0.1:8100/`.
    #[must_use]
    pub fn address(&self) -> String {
        format!("http://{}/", self.address)
    }

    /// Answers and examines until the program is interrupted (Ctrl-C).
    ///
    /// # Errors
    /// [`DeskError`] when threads cannot be started or the listener breaks.
    pub fn serve(self) -> Result<(), DeskError> {
        let worker = Arc::clone(&self.inner);
        std::thread::Builder::new()
            .name("examining".to_owned())
            .spawn(move || work::work(&worker))
            .map_err(DeskError::Threads)?;
        let library = Arc::clone(&self.inner);
        std::thread::Builder::new()
            .name("library".to_owned())
            .spawn(move || tasks::work(&library))
            .map_err(DeskError::Threads)?;
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .enable_all()
            .worker_threads(2)
            .max_blocking_threads(16)
            .build()
            .map_err(DeskError::Threads)?;
        let address = self.address;
        let served = runtime.block_on(async move {
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            let router = routes::router(self.inner);
            tokio::select! {
                served = axum::serve(listener, router) => served,
                // Whatever is being examined is examined again at the next start.
                _ = tokio::signal::ctrl_c() => Ok(()),
            }
        });
        runtime.shutdown_background();
        served.map_err(|source| DeskError::Listen { address, source })
    }
}
