#pragma once
/// Reads files that network programs record: pcap (the classic format of libpcap) and pcapng (IETF draft "PCAP Next
/// Generation Dump File Format"), as octets come. Of packets of a network it gives the payloads of UDP datagrams; of
/// packet radio (link types AX25 and AX25_KISS) each frame as it would come over a KISS line, so that framing=kiss
/// reads it.
///
/// A file that cannot be what it says stops being read at that place, with one sentence.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace turnstone {

class PacketCapture {
  public:
    /// Whether a file that begins with these bytes, four at least, is one.
    [[nodiscard]] static bool is_one(std::span<const std::byte> head) noexcept;

    /// `udp_port`: datagrams to this port only.
    explicit PacketCapture(std::optional<std::uint16_t> udp_port = {}) : udp_port_(udp_port) {}

    /// Calls `on_payload(std::int64_t t_ns, std::span<const std::byte>)` for each payload, in order; t_ns by the
    /// clock of the computer that recorded, since 1970, -1 when the file has none for it.
    template <class OnPayload>
    void push(std::span<const std::byte> bytes, OnPayload&& on_payload) {
        take(bytes);
        while (next()) on_payload(t_ns_, std::span<const std::byte>(payload_));
    }

    struct Counts {
        std::uint64_t packets = 0;
        std::uint64_t payloads = 0;
        std::uint64_t fragments = 0; ///< of IP datagrams: not put together
        std::uint64_t cut = 0;       ///< recorded shorter than they were
        std::uint64_t unknown = 0;   ///< of a link type that is not read
    };
    [[nodiscard]] const Counts& counts() const noexcept { return counts_; }
    /// Why nothing more is read; empty: it goes on.
    [[nodiscard]] const std::string& error() const noexcept { return error_; }
    /// One sentence for a person at the end of the file: the error, a record that is cut off, or that nothing was
    /// found; empty: nothing to say.
    [[nodiscard]] std::string at_end() const;

  private:
    struct Interface {
        std::uint16_t link_type = 0;
        std::uint32_t captured_most = 0; ///< of a packet; 0: unlimited
        bool binary_time = false;        ///< the exponent is of two
        unsigned time_exponent = 6;      ///< times are in ten to minus this
        std::int64_t offset_s = 0;
    };
    enum class Kind : unsigned char { unknown, pcap, pcapng };

    void take(std::span<const std::byte> bytes);
    /// Goes on to the next payload: true when there is one.
    bool next();
    [[nodiscard]] std::span<const std::byte> rest() const noexcept { return std::span(held_).subspan(at_); }
    void fail(const std::string& why);
    void begin();
    /// One record or block; empty: more bytes are needed. False: no payload.
    std::optional<bool> pcap_record();
    std::optional<bool> pcapng_block();
    bool block(std::uint32_t type, std::span<const std::byte> body);
    void section(std::span<const std::byte> body);
    void interface(std::span<const std::byte> body);
    bool packet(const Interface& from, std::int64_t t_ns, std::span<const std::byte> bytes, std::size_t original);
    bool internet(std::span<const std::byte> bytes, bool is_whole);
    bool datagram(std::span<const std::byte> bytes, bool is_whole);
    [[nodiscard]] std::uint64_t number(std::span<const std::byte> bytes) const noexcept;
    [[nodiscard]] static std::int64_t time_ns(const Interface& from, std::uint64_t ticks) noexcept;

    std::optional<std::uint16_t> udp_port_;
    Kind kind_ = Kind::unknown;
    bool is_little_ = true;
    std::vector<Interface> interfaces_;
    std::vector<std::byte> held_;
    std::size_t at_ = 0;       ///< of `held_`: what is read
    std::uint64_t offset_ = 0; ///< in the file, of the byte at `at_`
    std::vector<std::byte> payload_;
    std::int64_t t_ns_ = -1;
    Counts counts_;
    std::string error_;
};

} // namespace turnstone
