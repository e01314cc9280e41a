#include "protocol/nmea/fix_epochs.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "shared/constants.hpp"

namespace turnstone {
namespace {

constexpr double kDay_s = 86400;
constexpr double kKilometreAnHour_mps = 1 / 3.6;
/// Two sentences say the same time when they differ by less; receivers write milliseconds at most.
constexpr double kSameTime_s = 0.0005;
/// GSA comes once a second at least.
constexpr double kPrecisionHolds_s = 3;

constexpr double kFast_mps = 2000; // more than a GNSS receiver may say, by export rules some 515

constexpr std::array<std::string_view, 7> kFormatters{"GGA", "RMC", "GLL", "GNS", "VTG", "GSA", "ZDA"};

double first_of(double a, double b) noexcept {
    return std::isfinite(a) ? a : b;
}

/// Modes of RMC, GLL, GNS and VTG: N none; E estimated, M by hand, S simulated.
bool is_estimate(char mode) noexcept {
    return mode == 'E' || mode == 'M' || mode == 'S';
}

std::int64_t nanoseconds(double seconds) noexcept {
    return std::llround(seconds * 1e3) * 1'000'000;
}

} // namespace

bool FixEpochs::reads(std::string_view formatter) noexcept {
    return std::ranges::find(kFormatters, formatter) != kFormatters.end();
}

FixEpochs::Reading FixEpochs::read(const NmeaSentence& sentence, FieldReader& in) noexcept {
    Reading out;
    NmeaFix& fix = out.fix;
    const std::string_view kind = sentence.formatter;
    const auto position = [&](std::size_t k) {
        fix.latitude_deg = in.latitude(k);
        fix.longitude_deg = in.longitude(k + 2);
        in.demand(std::isfinite(fix.latitude_deg) == std::isfinite(fix.longitude_deg));
    };
    const auto status = [&](char said, char mode) {
        if (said != '\0') out.valid = said == 'A';
        if (mode != '\0') out.valid = out.valid.value_or(true) && mode != 'N';
        out.estimated = is_estimate(mode);
    };
    if (kind == "GGA") {
        in.demand(sentence.count >= 12);
        out.parts = kGga | kPosition | kHeight;
        fix.time_of_day_s = in.time_of_day(0);
        position(1);
        fix.quality = in.number(5, 0, 9);
        fix.satellites = in.number(6, 0, 999);
        fix.hdop = in.number(7, 0, 9999);
        fix.height_msl_m = in.number(8, -1e5, 1e8);
        fix.geoid_separation_m = in.number(10, -1000, 1000);
        if (std::isfinite(fix.quality)) out.valid = fix.quality > 0;
        out.estimated = fix.quality >= 6;
    } else if (kind == "GNS") {
        in.demand(sentence.count >= 10);
        out.parts = kGns | kPosition | kHeight;
        fix.time_of_day_s = in.time_of_day(0);
        position(1);
        const std::string_view modes = sentence.field(5); // one for each system
        if (!modes.empty()) out.valid = modes.find_first_not_of('N') != std::string_view::npos;
        out.estimated = !modes.empty() && std::ranges::all_of(modes, [](char c) { return c == 'N' || is_estimate(c); });
        fix.satellites = in.number(6, 0, 999);
        fix.hdop = in.number(7, 0, 9999);
        fix.height_msl_m = in.number(8, -1e5, 1e8);
        fix.geoid_separation_m = in.number(9, -1000, 1000);
    } else if (kind == "RMC") {
        in.demand(sentence.count >= 9);
        out.parts = kRmc | kPosition | kVelocity;
        fix.time_of_day_s = in.time_of_day(0);
        status(in.letter(1), in.letter(11));
        position(2);
        fix.speed_mps = in.number(6, 0, kFast_mps / kKnot_mps) * kKnot_mps;
        fix.course_deg = in.number(7, 0, 360);
        out.day = in.date(8);
        const double variation_deg = in.number(9, 0, 180);
        fix.variation_deg = in.letter(10) == 'W' ? -variation_deg : variation_deg;
    } else if (kind == "GLL") {
        in.demand(sentence.count >= 4);
        out.parts = kGll | kPosition;
        position(0);
        fix.time_of_day_s = in.time_of_day(4);
        status(in.letter(5), in.letter(6));
    } else if (kind == "VTG") {
        out.parts = kVtg | kVelocity;
        // Before version 2 the fields had no letters between them.
        const bool has_letters = sentence.count >= 8;
        in.demand(sentence.count >= 4);
        fix.course_deg = in.number(0, 0, 360);
        const double knots = in.number(has_letters ? 4 : 2, 0, kFast_mps / kKnot_mps);
        const double kmh = in.number(has_letters ? 6 : 3, 0, kFast_mps * 3.6);
        fix.speed_mps = first_of(knots * kKnot_mps, kmh * kKilometreAnHour_mps);
        if (has_letters) status('\0', in.letter(8));
    } else if (kind == "GSA") {
        in.demand(sentence.count >= 17);
        out.gsa_dimensions = in.number(1, 1, 3);
        fix.pdop = in.number(14, 0, 9999);
        fix.hdop = in.number(15, 0, 9999);
        fix.vdop = in.number(16, 0, 9999);
    } else { // ZDA
        in.demand(sentence.count >= 4);
        out.parts = kZda;
        fix.time_of_day_s = in.time_of_day(0);
        out.day = in.date_apart(1);
    }
    if (out.valid == false) {
        fix.latitude_deg = fix.longitude_deg = fix.height_msl_m = kNaN;
        fix.speed_mps = fix.course_deg = kNaN;
    }
    return out;
}

bool FixEpochs::begins(const Reading& reading, const NmeaSentence& sentence) const noexcept {
    if (parts_ == 0) return false;
    if (reading.parts == (kVtg | kVelocity))
        return (parts_ & kVtg) != 0 && sentence.talker == std::string_view(vtg_talker_, sentence.talker.size());
    const double told_s = reading.fix.time_of_day_s;
    if (!std::isfinite(told_s)) return (parts_ & reading.parts & ~(kPosition | kHeight | kVelocity)) != 0;
    return std::isfinite(fix_.time_of_day_s) ? std::abs(told_s - fix_.time_of_day_s) >= kSameTime_s : false;
}

/// Midnight may come before the sentence with the new date.
void FixEpochs::follow_day(const Reading& reading) noexcept {
    const double told_s = reading.fix.time_of_day_s;
    if (std::isfinite(told_s)) {
        if (told_s < newest_s_ - kDay_s / 2) ++day_;
        if (told_s > newest_s_ + kDay_s / 2) --day_;
        newest_s_ = told_s;
    }
    if (!reading.day || !std::isfinite(told_s)) return;
    day_ = *reading.day;
    day_known_ = true;
}

void FixEpochs::join(const Reading& reading, const NmeaSentence& sentence) noexcept {
    follow_day(reading);
    if (std::isfinite(reading.gsa_dimensions)) {
        precision_ = reading.fix;
        precision_.dimensions = reading.gsa_dimensions;
        precision_s_ = newest_s_;
        return;
    }
    // The same sentence again, by another talker: the first stands.
    const unsigned own = reading.parts & ~(kPosition | kHeight | kVelocity);
    if ((parts_ & own) != 0) return;
    if ((own & kVtg) != 0)
        std::copy_n(sentence.talker.begin(), std::min<std::size_t>(2, sentence.talker.size()), vtg_talker_);
    const NmeaFix& of = reading.fix;
    const auto keep = [&](double NmeaFix::*member) { fix_.*member = first_of(fix_.*member, of.*member); };
    keep(&NmeaFix::time_of_day_s);
    // A position with its height stands together; a speed with its course.
    if ((reading.parts & kHeight) != 0 || !std::isfinite(fix_.latitude_deg)) {
        fix_.latitude_deg = first_of(of.latitude_deg, fix_.latitude_deg);
        fix_.longitude_deg = first_of(of.longitude_deg, fix_.longitude_deg);
    }
    if (!std::isfinite(fix_.speed_mps)) {
        fix_.speed_mps = of.speed_mps;
        fix_.course_deg = of.course_deg;
    }
    for (const auto member : {&NmeaFix::height_msl_m, &NmeaFix::geoid_separation_m, &NmeaFix::quality,
                              &NmeaFix::satellites, &NmeaFix::hdop, &NmeaFix::variation_deg})
        keep(member);
    parts_ |= reading.parts;
    valid_ = valid_ && reading.valid.value_or(true);
    estimated_ = estimated_ || reading.estimated;
    if (std::isfinite(fix_.time_of_day_s)) {
        fix_.told_ns = day_ * 86'400'000'000'000 + nanoseconds(fix_.time_of_day_s);
        fix_.utc_ns = day_known_ ? fix_.told_ns : -1;
    }
}

NmeaFix FixEpochs::result() const noexcept {
    NmeaFix out = fix_;
    const double age_s = std::abs(newest_s_ - precision_s_);
    const bool precise = std::min(age_s, kDay_s - age_s) <= kPrecisionHolds_s; // never of NaN
    if (precise) {
        out.pdop = precision_.pdop;
        out.hdop = first_of(out.hdop, precision_.hdop);
        out.vdop = precision_.vdop;
    }
    const bool found = valid_ && std::isfinite(out.latitude_deg) && !estimated_;
    const double by_height = std::isfinite(out.height_msl_m) ? 3 : 2;
    out.dimensions = !found ? 1 : precise && precision_.dimensions >= 2 ? precision_.dimensions : by_height;
    if (!valid_) out.latitude_deg = out.longitude_deg = out.height_msl_m = out.speed_mps = out.course_deg = kNaN;
    return out;
}

std::optional<FixEpochs::Given> FixEpochs::take(const NmeaSentence& sentence) noexcept {
    FieldReader in(sentence);
    const Reading reading = read(sentence, in);
    if (!in.good()) return std::nullopt;
    Given out;
    if (begins(reading, sentence)) {
        const NmeaFix before = result();
        if (completion_.end()) out.before = before;
        fix_ = {};
        parts_ = 0;
        valid_ = true;
        estimated_ = false;
    }
    join(reading, sentence);
    completion_.add(parts_ & (kPosition | kHeight | kVelocity));
    if (completion_.due()) out.own = result();
    return out;
}

} // namespace turnstone
