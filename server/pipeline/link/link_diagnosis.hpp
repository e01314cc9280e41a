#pragma once
/// Why a link delivers nothing useful although bytes come, or why what it delivers cannot be right. One cause at a
/// time, the most telling one. Silence is not among them: the link's state says that.
///
/// Loss is not a cause: one needs bytes that a link with losses does not bring, and one that had good frames before
/// needs far more of them than one that never had any.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "protocol/framing/frame.hpp"
#include "server/pipeline/events.hpp"
#include "server/pipeline/link/byte_look.hpp"
#include "server/pipeline/link_trouble.hpp"
#include "server/pipeline/vehicle/vehicle_track.hpp"

namespace turnstone {

class LinkDiagnosis {
  public:
    /// `dictionary_version`: the station's, which must outlive this.
    explicit LinkDiagnosis(const std::string& dictionary_version) : version_(&dictionary_version) {}

    void bytes(std::int64_t t_rx_ns, std::span<const std::byte> bytes) noexcept;
    void bad_frame(FrameVerdict verdict) noexcept;
    void good_frame(const PacketOutcome& outcome);
    /// No more bytes come: of a capture that is read in a moment all is judged that it held.
    void end() noexcept { ended_ = true; }
    /// What is wrong at `t_ns`, if anything.
    [[nodiscard]] std::optional<LinkTrouble> trouble(std::int64_t t_ns) const;
    /// The facts of it, for the event: see server/pipeline/events.cpp.
    [[nodiscard]] EventValues facts(LinkTrouble trouble, std::int64_t t_ns) const;

  private:
    /// Good frames of one APID that the dictionary cannot read for one reason.
    struct Unreadable {
        std::int32_t apid = -1;
        std::uint32_t link_bytes = 0; ///< of the newest
        DecodeVerdict reason = DecodeVerdict::unknown_apid;
        std::uint64_t count = 0; ///< 0: an empty place
        std::int64_t t_last_ns = 0;
        std::int64_t t_before_ns = 0; ///< of the one before the last
    };
    [[nodiscard]] bool no_frames(std::int64_t t_ns) const;
    void unreadable(const FrameRecord& frame) noexcept;
    void repeated(const FrameRecord& frame) noexcept;
    void judged(const PacketOutcome& outcome);

    const std::string* version_;

    // Since the last good frame, or since bytes came again after a long silence.
    std::int64_t t_since_ns_ = 0;
    std::uint64_t bytes_since_ = 0;
    std::uint64_t bad_since_ = 0;
    std::uint64_t bad_checksum_since_ = 0;
    ByteSample sample_;
    std::int64_t t_byte_ns_ = 0;
    bool any_byte_ = false;
    bool ended_ = false;
    std::uint64_t good_ = 0; ///< in all
    std::uint64_t bad_ = 0;  ///< in all, up to the newest good one

    std::array<Unreadable, 8> unreadable_{};
    /// Kinds of packets whose values cannot be.
    struct Unfit {
        std::int32_t apid;
        std::vector<std::string> values;
    };
    std::vector<Unfit> unfit_;
    std::string told_version_; ///< by the vehicle; empty: none yet, or the station's

    FrameRecord same_;               ///< of the newest run of packets that are the same: the first
    std::int64_t t_same_ns_ = 0;     ///< of the newest of them
    std::uint64_t same_packets_ = 0; ///< of them

    std::int64_t onboard_ns_ = -1; ///< of the newest packet
    std::uint32_t boot_ = 0;
    std::int64_t t_onboard_ns_ = 0; ///< when that time first came
    std::int64_t t_packet_ns_ = 0;
    std::uint64_t same_time_ = 0; ///< packets in a row with it
};

} // namespace turnstone
