#pragma once
/// Joins what a GNSS receiver says of one moment in several sentences into one fix.
///
/// GGA, RMC, GLL, GNS and ZDA carry a time: those of one time are of one epoch. VTG has none and belongs to the epoch
/// at hand. An epoch is given out once it has what the last ones had (completion.hpp: position, height, velocity). So a
/// fix comes with the last sentence that adds to it, whatever the receiver's order, and a lost sentence costs that fix
/// its part and nothing else.
///
/// A fix counts when every sentence of its epoch that has a status says so. Fixed memory, no clock.
#include <cstdint>
#include <optional>
#include <string_view>

#include "protocol/nmea/completion.hpp"
#include "protocol/nmea/sentence.hpp"

namespace turnstone {

/// NaN: not told. The columns of the table "fix".
struct NmeaFix {
    double time_of_day_s = kNaN;
    std::int64_t utc_ns = -1;  ///< since 1970-01-01, leap seconds not counted; -1: no date, or no time
    std::int64_t told_ns = -1; ///< that, or counted from the first day without a date: only grows
    double latitude_deg = kNaN, longitude_deg = kNaN;
    double height_msl_m = kNaN, geoid_separation_m = kNaN;
    double speed_mps = kNaN, course_deg = kNaN;
    double quality = kNaN; ///< of GGA: 0 none, 1 GNSS, 2 differential, 4 and 5 carrier phase, 6 estimated ...
    double dimensions = 1; ///< 1 none, 2, 3
    double satellites = kNaN, pdop = kNaN, hdop = kNaN, vdop = kNaN;
    double variation_deg = kNaN; ///< magnetic, east positive
};

class FixEpochs {
  public:
    /// What one sentence led to: the epoch before it, its own, both, or nothing yet.
    struct Given {
        std::optional<NmeaFix> before, own;
    };
    /// Empty: it cannot be right, and changes nothing.
    [[nodiscard]] std::optional<Given> take(const NmeaSentence& sentence) noexcept;
    /// Of these formatters.
    [[nodiscard]] static bool reads(std::string_view formatter) noexcept;

  private:
    /// What sentences can add to a fix, and those that are in an epoch.
    enum Part : unsigned {
        kPosition = 1,
        kHeight = 2,
        kVelocity = 4,
        kGga = 8,
        kRmc = 16,
        kGll = 32,
        kGns = 64,
        kVtg = 128,
        kZda = 256
    };
    /// One sentence, read.
    struct Reading {
        NmeaFix fix = {};
        unsigned parts = 0;
        std::optional<bool> valid = {}; ///< empty: it does not say
        bool estimated = false;         ///< not by satellites: shown, not used
        std::optional<std::int64_t> day = {};
        double gsa_dimensions = kNaN;
    };
    [[nodiscard]] static Reading read(const NmeaSentence& sentence, FieldReader& in) noexcept;
    [[nodiscard]] bool begins(const Reading& reading, const NmeaSentence& sentence) const noexcept;
    void join(const Reading& reading, const NmeaSentence& sentence) noexcept;
    void follow_day(const Reading& reading) noexcept;
    [[nodiscard]] NmeaFix result() const noexcept;

    NmeaFix fix_;
    unsigned parts_ = 0; ///< of the epoch at hand
    Completion completion_;
    bool valid_ = true, estimated_ = false;
    char vtg_talker_[2] = {};
    std::int64_t day_ = 0; ///< since 1970-01-01, or since the first without a date
    bool day_known_ = false;
    double newest_s_ = kNaN; ///< time of day
    NmeaFix precision_;      ///< of the newest GSA: dops, dimensions
    double precision_s_ = kNaN;
};

} // namespace turnstone
