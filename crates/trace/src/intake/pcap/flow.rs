//! Which flow a frame belongs to, and how many bytes of payload it carries.

use etherparse::{LaxLinkExtSlice, LaxNetSlice, LaxSlicedPacket, LinkSlice, TransportSlice};
use std::fmt::Write as _;
use std::net::{IpAddr, SocketAddr};

/// Kinds of link by their registered numbers, from memory of the list that the capture formats refer to.
const ETHERNET: u32 = 1;
const RAW_IP: [u32; 3] = [101, 228, 229];

/// The flow's name and the payload's bytes of a frame of which `bytes` were kept and which had `length`.
pub fn flow(link: u32, bytes: &[u8], length: u32) -> (String, u32) {
    let packet = match link {
        ETHERNET => LaxSlicedPacket::from_ethernet(bytes).ok(),
        _ if RAW_IP.contains(&link) => LaxSlicedPacket::from_ip(bytes).ok(),
        _ => None,
    };
    let known = packet.as_ref().and_then(|packet| over_ip(packet).or_else(|| over_ethernet(packet, length)));
    known.unwrap_or_else(|| (format!("link {link}"), length))
}

/// `udp 10.0.0.1:5000 > 10.0.0.2:6000`; without ports where the protocol has none or the packet is a fragment.
fn over_ip(packet: &LaxSlicedPacket<'_>) -> Option<(String, u32)> {
    let (source, target, protocol, carried) = match packet.net.as_ref()? {
        LaxNetSlice::Ipv4(ip) => {
            let header = ip.header();
            let carried = u32::from(header.total_len()).saturating_sub(u32::from(header.ihl()) * 4);
            (IpAddr::V4(header.source_addr()), IpAddr::V4(header.destination_addr()), header.protocol().0, carried)
        }
        LaxNetSlice::Ipv6(ip) => {
            let header = ip.header();
            let carried = u32::from(header.payload_length());
            (IpAddr::V6(header.source_addr()), IpAddr::V6(header.destination_addr()), header.next_header().0, carried)
        }
        LaxNetSlice::Arp(_) => return None,
    };
    let between =
        |kind, from, to| format!("{kind} {} > {}", SocketAddr::new(source, from), SocketAddr::new(target, to));
    Some(match &packet.transport {
        Some(TransportSlice::Udp(udp)) => {
            (between("udp", udp.source_port(), udp.destination_port()), u32::from(udp.length()).saturating_sub(8))
        }
        Some(TransportSlice::Tcp(tcp)) => {
            let head = u32::from(tcp.data_offset()) * 4;
            (between("tcp", tcp.source_port(), tcp.destination_port()), carried.saturating_sub(head))
        }
        _ => (format!("ip-{protocol} {source} > {target}"), carried),
    })
}

/// `vlan 5 ethertype 0x88f7 02:00:00:00:00:01 > 02:00:00:00:00:02`.
fn over_ethernet(packet: &LaxSlicedPacket<'_>, length: u32) -> Option<(String, u32)> {
    let Some(LinkSlice::Ethernet2(frame)) = &packet.link else { return None };
    let mut text = String::new();
    let (mut kind, mut head) = (frame.ether_type().0, 14);
    for extension in &packet.link_exts {
        if let LaxLinkExtSlice::Vlan(vlan) = extension {
            // Writing to a text cannot fail.
            let _ = write!(text, "vlan {} ", vlan.vlan_identifier().value());
            (kind, head) = (vlan.ether_type().0, head + 4);
        }
    }
    let _ = write!(text, "ethertype {kind:#06x} {} > {}", address(frame.source()), address(frame.destination()));
    Some((text, length.saturating_sub(head)))
}

fn address(bytes: [u8; 6]) -> String {
    bytes.map(|byte| format!("{byte:02x}")).join(":")
}
