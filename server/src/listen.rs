//! Takes the port before anything slow starts, and says so when it is taken.

use std::{
    io::{self, ErrorKind, Write},
    net::{SocketAddr, TcpListener},
};

/// The address cannot be listened on.
#[derive(Debug, thiserror::Error)]
pub enum ListenError {
    /// Another program has the port.
    #[error(
        "port {} on {} is taken by another program, perhaps another secondcan-server; stop that \
         one or choose another port with SECONDCAN_LISTEN={}:PORT (0 takes a free one)",
        .listen.port(), .listen.ip(), .listen.ip()
    )]
    Taken {
        /// The address asked for.
        listen: SocketAddr,
    },
    /// Ports below 1024 belong to root.
    #[error(
        "port {} needs rights that this server gives up; choose one above 1023 with \
         SECONDCAN_LISTEN and let a proxy answer on {}", .listen.port(), .listen.port()
    )]
    Privileged {
        /// The address asked for.
        listen: SocketAddr,
    },
    /// No network interface has the address.
    #[error("no network interface of this machine has the address of SECONDCAN_LISTEN={listen}")]
    NoSuchAddress {
        /// The address asked for.
        listen: SocketAddr,
    },
    /// Anything else.
    #[error("cannot listen on SECONDCAN_LISTEN={listen}")]
    Other {
        /// The address asked for.
        listen: SocketAddr,
        /// What the system said.
        #[source]
        source: io::Error,
    },
}

/// Takes the address.
///
/// # Errors
/// [`ListenError`] with the address and the remedy.
pub fn bind(listen: SocketAddr) -> Result<TcpListener, ListenError> {
    TcpListener::bind(listen).map_err(|source| match source.kind() {
        ErrorKind::AddrInUse => ListenError::Taken { listen },
        ErrorKind::PermissionDenied => ListenError::Privileged { listen },
        ErrorKind::AddrNotAvailable => ListenError::NoSuchAddress { listen },
        _ => ListenError::Other { listen, source },
    })
}

/// Prints `listening on http://ADDRESS:PORT` on stdout, the one line that
/// scripts and tests read the port from.
///
/// # Errors
/// When the listener has no address any more.
pub fn announce(listener: &TcpListener) -> io::Result<()> {
    let address = listener.local_addr()?;
    let mut stdout = io::stdout().lock();
    // A closed stdout is no reason to stop serving.
    let _ = writeln!(stdout, "listening on http://{address}").and_then(|()| stdout.flush());
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_taken_port_is_named_with_the_way_out() {
        let first = bind("127.0.0.1:0".parse().unwrap()).unwrap();
        let address = first.local_addr().unwrap();
        let message = bind(address).unwrap_err().to_string();
        assert!(message.contains(&address.port().to_string()), "{message}");
        assert!(message.contains("SECONDCAN_LISTEN=127.0.0.1:PORT"));
    }

    #[test]
    fn a_foreign_address_is_named() {
        // TEST-NET-1 of RFC 5737: no machine has it.
        let message = bind("192.0.2.1:7310".parse().unwrap())
            .unwrap_err()
            .to_string();
        assert!(message.contains("192.0.2.1:7310"), "{message}");
    }
}
