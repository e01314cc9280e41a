#pragma once
/// The bytes of one link to frames and what is in them: the deframer and the decoder that belong to its framing.
#include <cstdint>
#include <optional>
#include <span>
#include <utility>
#include <variant>

#include "protocol/decode/decoder.hpp"
#include "protocol/dictionary/dictionary.hpp"
#include "protocol/framing/binary_deframer.hpp"
#include "protocol/framing/deframer.hpp"
#include "protocol/framing/escaped_deframer.hpp"
#include "protocol/framing/framing.hpp"
#include "protocol/framing/line_deframer.hpp"
#include "protocol/lines/line_decoder.hpp"
#include "protocol/nmea/nmea_decoder.hpp"
#include "protocol/packet/space_packet.hpp"
#include "protocol/packet_radio/report_decoder.hpp"
#include "protocol/space_link/packet_deframer.hpp"
#include "protocol/space_link/tm_deframer.hpp"

namespace turnstone {

class FrameReader {
  public:
    /// The dictionary must outlive it.
    FrameReader(const Framing& framing, const Dictionary& dictionary);

    /// Calls `on_frame(const Frame&, const DecodedPacket*)` for each closed frame, in order; without a packet when the
    /// frame is not good. Both are valid during the call.
    template <class OnFrame>
    void push(std::span<const std::byte> bytes, OnFrame&& on_frame) {
        std::visit(
            [&](auto& pair) {
                pair.deframer.push(
                    bytes, [&](const Frame& frame) { decode(pair, frame, on_frame); });
            },
            pair_);
    }

    /// How damaged frames are put together with other links' copies; empty: they keep no place by which they could be,
    /// or no check tells what was put together from what was sent (protocol/LINK.md, section 3).
    [[nodiscard]] const std::optional<CopyKind>& copies() const noexcept { return copies_; }
    /// As push, of the one frame that these bytes are, as Frame::received has it; only where copies() is there. Nothing
    /// is counted. May be called from within `on_frame` of a frame that is not good.
    template <class OnFrame>
    void judge(std::span<const std::byte> bytes, OnFrame&& on_frame) {
        std::visit(
            [&](auto& pair) {
                const auto give = [&](const Frame& frame) { decode(pair, frame, on_frame); };
                if constexpr (
                    requires { pair.deframer.judge(bytes, give); })
                    pair.deframer.judge(bytes, give);
                else if constexpr (
                    requires { pair.deframer.judge(bytes); })
                    give(pair.deframer.judge(bytes));
            },
            pair_);
    }

    [[nodiscard]] const DeframerCounts& counts() const noexcept {
        return std::visit([](const auto& pair) -> const DeframerCounts& { return pair.deframer.counts(); }, pair_);
    }
    [[nodiscard]] std::span<const std::byte> pending() const noexcept {
        return std::visit([](const auto& pair) { return pair.deframer.pending(); }, pair_);
    }

    /// Of a telemetry stream; nullptr: of another framing.
    [[nodiscard]] const CodeFigures* code() const noexcept;
    void begin_code_period() noexcept;

  private:
    /// A transfer frame in which no packet ended gives none.
    class PartDecoder {
      public:
        explicit PartDecoder(const Dictionary& dictionary) : decoder_(dictionary) {}
        [[nodiscard]] DecodedPacket decode(std::span<const std::byte> packet) noexcept {
            if (packet.empty()) return {DecodeVerdict::part, 0, 0, 0, false, 0, {}};
            return decoder_.decode(packet);
        }

      private:
        Decoder decoder_;
    };
    /// The sender of payloads does not count them.
    class PayloadDecoder {
      public:
        PayloadDecoder(const Dictionary& dictionary, bool are_payloads)
            : decoder_(dictionary), are_payloads_(are_payloads) {}
        [[nodiscard]] DecodedPacket decode(std::span<const std::byte> packet) noexcept {
            DecodedPacket out = decoder_.decode(packet);
            if (!are_payloads_) return out;
            out.is_counted = false;
            out.said = packet.subspan(kPrimaryHeaderBytes);
            return out;
        }

      private:
        Decoder decoder_;
        bool are_payloads_;
    };
    template <class Cutter, class Reader>
    struct Pair {
        Cutter deframer;
        Reader decoder;
    };
    using Any = std::variant<Pair<Deframer, Decoder>, Pair<LineDeframer, NmeaDecoder>, Pair<LineDeframer, LineDecoder>,
                             Pair<BinaryDeframer, PayloadDecoder>, Pair<EscapedDeframer, PayloadDecoder>,
                             Pair<EscapedDeframer, ReportDecoder>, Pair<TmDeframer, PartDecoder>,
                             Pair<PacketDeframer, Decoder>>;
    template <class Cut, class OnFrame>
    static void decode(Cut& pair, const Frame& frame, OnFrame& on_frame) {
        if (frame.verdict != FrameVerdict::good) {
            on_frame(frame, static_cast<const DecodedPacket*>(nullptr));
            return;
        }
        const DecodedPacket packet = pair.decoder.decode(frame.packet);
        on_frame(frame, &packet);
    }
    static Any make(const Framing& framing, const Dictionary& dictionary);

    Any pair_;
    std::optional<CopyKind> copies_;
};

/// Appends why a link with this framing could not fill the dictionary's tables. `file`: of the dictionary, in messages.
void check_framing(const Framing& framing, const Dictionary& dictionary, const std::string& file,
                   std::vector<Problem>& problems);

/// Lines that say what is read from a link with this framing: for `turnstone check`.
[[nodiscard]] std::string describe_framing(const Framing& framing, const Dictionary& dictionary);

} // namespace turnstone
