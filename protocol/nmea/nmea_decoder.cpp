#include "protocol/nmea/nmea_decoder.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "protocol/packet/space_packet.hpp"
#include "protocol/text/column_name.hpp"
#include "shared/constants.hpp"

namespace turnstone {
namespace {

constexpr double kMile_mps = 0.44704; // an hour: BIPM SI brochure by way of the international yard
constexpr double kCelsius = 273.15;
constexpr double kBar_pa = 1e5;
constexpr double kInchOfMercury_pa = 3386.389; // at 0 degrees Celsius, NIST SP 811 appendix B
constexpr double kBig = 1e9;

constexpr std::size_t kFixColumnCount = 18;
constexpr std::array<std::string_view, kFixColumnCount> kFixColumns{"utc",
                                                                    "utc_time_of_day",
                                                                    "latitude",
                                                                    "longitude",
                                                                    "height_msl",
                                                                    "geoid_separation",
                                                                    "height_ellipsoid",
                                                                    "velocity_east",
                                                                    "velocity_north",
                                                                    "speed",
                                                                    "course",
                                                                    "fix_quality",
                                                                    "fix_dimensions",
                                                                    "satellites_used",
                                                                    "pdop",
                                                                    "hdop",
                                                                    "vdop",
                                                                    "magnetic_variation"};
constexpr std::array<std::string_view, 2> kViewColumns{"in_view", "system"};
constexpr std::array<std::string_view, 4> kSatelliteColumns{"number", "elevation", "azimuth", "signal"};
constexpr std::array<std::string_view, 5> kWindColumns{"angle", "reference", "speed", "wind_speed", "wind_from"};
constexpr std::array<std::string_view, 9> kWeatherColumns{
    "pressure",  "air_temperature", "water_temperature", "relative_humidity", "absolute_humidity",
    "dew_point", "wind_speed",      "wind_from",         "wind_from_magnetic"};
constexpr std::array<std::string_view, 1> kHeadingColumns{"heading"};
constexpr std::array<std::string_view, 5> kEngineColumns{"engine_speed", "speed", "source", "number", "pitch"};
constexpr std::array<std::string_view, 4> kTransducerColumns{"value", "type", "unit", "name"};

/// A transducer's value in SI units, as its type and unit say (IEC 61162-1, XDR); others stay as they are.
double in_si(double value, std::string_view type, std::string_view unit) noexcept {
    if (type == "C" && unit == "C") return value + kCelsius;
    if (type == "P" && unit == "B") return value * kBar_pa;
    return value;
}

double wind_mps(double speed, char unit) noexcept {
    switch (unit) {
    case 'N': return speed * kKnot_mps;
    case 'K': return speed / 3.6;
    case 'S': return speed * kMile_mps;
    default: return speed;
    }
}

/// A sentence that gives no row.
DecodedPacket nothing(DecodeVerdict why) noexcept {
    DecodedPacket out{why, 0, kIdleApid, 0, false, 0, {}};
    out.is_counted = false;
    return out;
}

double turned_deg(double angle_deg, double by_deg) noexcept {
    const double turned = std::fmod(angle_deg + by_deg, 360);
    return turned < 0 ? turned + 360 : turned;
}

/// What a dictionary of one's own can have, of a packet and of its group.
std::span<const std::string_view> nmea_columns(NmeaPacket packet) noexcept {
    switch (packet) {
    case NmeaPacket::fix: return kFixColumns;
    case NmeaPacket::satellites: return kViewColumns;
    case NmeaPacket::wind: return kWindColumns;
    case NmeaPacket::weather: return kWeatherColumns;
    case NmeaPacket::heading: return kHeadingColumns;
    case NmeaPacket::engine: return kEngineColumns;
    case NmeaPacket::transducers: break; // the dictionary's, by the transducers' names
    }
    return {};
}

std::span<const std::string_view> nmea_group_columns(NmeaPacket packet) noexcept {
    if (packet == NmeaPacket::satellites) return kSatelliteColumns;
    if (packet == NmeaPacket::transducers) return kTransducerColumns;
    return {};
}

} // namespace

NmeaDecoder::NmeaDecoder(const Dictionary& dictionary, std::optional<double> anemometer_deg)
    : dictionary_(&dictionary), anemometer_deg_(anemometer_deg) {
    for (std::size_t k = 0; k < kinds_.size(); ++k) {
        const auto which = static_cast<NmeaPacket>(k);
        const auto packet = std::ranges::find(dictionary.packets, word(which), &Packet::name);
        if (packet == dictionary.packets.end()) continue;
        Kind& kind = kinds_[k];
        kind.packet = static_cast<std::size_t>(packet - dictionary.packets.begin());
        std::vector<std::string_view> names(nmea_columns(which).begin(), nmea_columns(which).end());
        const auto own = table_named(dictionary, word(which));
        if (which == NmeaPacket::transducers && own) {
            for (const Channel& channel : dictionary.tables[*own].channels)
                if (transducer_names_.size() < 64) transducer_names_.push_back(channel.name);
            names.assign(transducer_names_.begin(), transducer_names_.end());
        }
        const bool joins = which == NmeaPacket::fix || which == NmeaPacket::transducers;
        const std::size_t rows = joins ? 2 : 1; // the one before, and its own
        for (std::size_t r = 0; r < rows && own; ++r) kind.rows.emplace_back(dictionary, *own, names);
        const auto group = std::ranges::find_if(dictionary.tables, [&](const ChannelTable& table) {
            return table.group != nullptr && table.packet == *kind.packet;
        });
        if (group == dictionary.tables.end() || nmea_group_columns(which).empty()) continue;
        const std::size_t parts = which == NmeaPacket::satellites ? kSatellitesMax : kTransducersMax;
        for (std::size_t p = 0; p < parts; ++p)
            kind.parts.emplace_back(dictionary, static_cast<std::size_t>(group - dictionary.tables.begin()),
                                    nmea_group_columns(which));
    }
    rows_.reserve(kSatellitesMax + 2);
}

DecodedPacket NmeaDecoder::refused(NmeaPacket which) const noexcept {
    DecodedPacket out = nothing(DecodeVerdict::bad_value);
    out.apid = dictionary_->packets[*kinds_[static_cast<std::size_t>(which)].packet].apid;
    return out;
}

DecodedPacket NmeaDecoder::given(NmeaPacket which) noexcept {
    Kind& kind = of(which);
    DecodedPacket out{
        DecodeVerdict::good, *kind.packet, dictionary_->packets[*kind.packet].apid, kind.count, false, 0, rows_};
    out.is_counted = false;
    kind.count = static_cast<std::uint16_t>((kind.count + 1U) % kSequenceModulus);
    return out;
}

DecodedPacket NmeaDecoder::decode(std::span<const std::byte> bytes) noexcept {
    rows_.clear();
    const std::string_view text(reinterpret_cast<const char*>(bytes.data()), bytes.size());
    const auto sentence = split_sentence(text);
    const DecodedPacket unused = nothing(DecodeVerdict::unused);
    if (!sentence || text[0] != '$' || sentence->talker == "P") return unused;
    const std::string_view kind = sentence->formatter;
    const auto reads = [&](NmeaPacket which, std::string_view formatter) {
        return kind == formatter && of(which).packet.has_value();
    };
    if (FixEpochs::reads(kind) && of(NmeaPacket::fix).packet) return fix(*sentence);
    if (reads(NmeaPacket::satellites, "GSV")) return satellites(*sentence);
    if (reads(NmeaPacket::wind, "MWV")) return wind(*sentence);
    if (reads(NmeaPacket::weather, "MDA")) return weather(*sentence);
    if (reads(NmeaPacket::heading, "HDT")) return heading(*sentence);
    if (reads(NmeaPacket::engine, "RPM")) return engine(*sentence);
    if (reads(NmeaPacket::transducers, "XDR")) return transducers(*sentence);
    return unused;
}

void NmeaDecoder::fill(NamedRow& row, const NmeaFix& fix) noexcept {
    const double course_rad = fix.course_deg * std::numbers::pi / 180;
    // A receiver at rest gives no course, and needs none to have no velocity.
    const bool rests = fix.speed_mps == 0 && !std::isfinite(fix.course_deg);
    const std::array<double, kFixColumnCount> values{fix.utc_ns < 0 ? kNaN : static_cast<double>(fix.utc_ns) * 1e-9,
                                                     fix.time_of_day_s >= 86400 ? fix.time_of_day_s - 86400
                                                                                : fix.time_of_day_s,
                                                     fix.latitude_deg,
                                                     fix.longitude_deg,
                                                     fix.height_msl_m,
                                                     fix.geoid_separation_m,
                                                     fix.height_msl_m + fix.geoid_separation_m,
                                                     rests ? 0 : fix.speed_mps * std::sin(course_rad),
                                                     rests ? 0 : fix.speed_mps * std::cos(course_rad),
                                                     fix.speed_mps,
                                                     fix.course_deg,
                                                     fix.quality,
                                                     fix.dimensions,
                                                     fix.satellites,
                                                     fix.pdop,
                                                     fix.hdop,
                                                     fix.vdop,
                                                     fix.variation_deg};
    row.clear();
    for (std::size_t k = 0; k < values.size(); ++k) row.set(k, values[k]);
}

DecodedPacket NmeaDecoder::fix(const NmeaSentence& sentence) noexcept {
    const auto led_to = epochs_.take(sentence);
    if (!led_to) return refused(NmeaPacket::fix);
    Kind& kind = of(NmeaPacket::fix);
    if ((!led_to->before && !led_to->own) || kind.rows.empty()) return nothing(DecodeVerdict::part);
    const NmeaFix& newest = led_to->own ? *led_to->own : *led_to->before;
    if (led_to->before) {
        fill(kind.rows[0], *led_to->before);
        const bool both_timed = newest.told_ns >= 0 && led_to->before->told_ns >= 0;
        rows_.push_back(
            kind.rows[0].row(both_timed ? static_cast<double>(led_to->before->told_ns - newest.told_ns) * 1e-6 : 0));
    }
    if (led_to->own) {
        fill(kind.rows[1], *led_to->own);
        rows_.push_back(kind.rows[1].row());
    }
    DecodedPacket out = given(NmeaPacket::fix);
    out.told_ns = newest.told_ns;
    // A receiver without a fix tells the time of its own clock, which jumps once it has one.
    out.has_time = newest.told_ns >= 0 && newest.dimensions >= 2 && dictionary_->packets[out.packet].time.has_value();
    out.onboard_ticks_ns = out.has_time ? static_cast<std::uint64_t>(newest.told_ns) : 0;
    return out;
}

DecodedPacket NmeaDecoder::satellites(const NmeaSentence& sentence) noexcept {
    FieldReader in(sentence);
    const double parts = in.number(0, 1, 99), part = in.number(1, 1, 99), in_view = in.number(2, 0, 999);
    in.demand(sentence.count >= 3 && std::isfinite(parts) && std::isfinite(part) && part <= parts);
    std::array<std::array<double, 4>, 4> seen;
    std::size_t count = 0;
    // Four fields a satellite; what is left over is the signal's number.
    for (std::size_t k = 3; k + 3 < sentence.count && count < seen.size(); k += 4) {
        for (std::size_t f = 0; f < 4; ++f) seen[count][f] = in.number(k + f, -90, 999);
        if (std::isfinite(seen[count][0])) ++count;
    }
    if (!in.good()) return refused(NmeaPacket::satellites);
    std::array<char, 2> talker{};
    std::copy_n(sentence.talker.begin(), std::min<std::size_t>(2, sentence.talker.size()), talker.begin());
    auto view = std::ranges::find_if(views_, [&](const View& v) { return v.next > 0 && v.talker == talker; });
    if (view == views_.end()) {
        view = views_.begin() + static_cast<std::ptrdiff_t>(view_at_);
        view_at_ = (view_at_ + 1) % views_.size();
        *view = {.talker = talker};
    }
    if (part == 1) {
        *view = {.talker = talker, .parts = static_cast<int>(parts), .next = 1, .in_view = in_view};
    } else if (view->next != static_cast<int>(part) || view->parts != static_cast<int>(parts)) {
        view->next = 0; // one is missing: what is left of the group is not joined by accident
        return nothing(DecodeVerdict::part);
    }
    for (std::size_t k = 0; k < count && view->count < kSatellitesMax; ++k) view->satellites[view->count++] = seen[k];
    if (view->next++ < view->parts) return nothing(DecodeVerdict::part);
    view->next = 0;
    Kind& kind = of(NmeaPacket::satellites);
    for (NamedRow& row : kind.rows) {
        row.clear();
        row.set(0, view->in_view);
        row.set(1, sentence.talker);
        rows_.push_back(row.row());
    }
    for (std::size_t k = 0; k < view->count && k < kind.parts.size(); ++k) {
        kind.parts[k].clear();
        for (std::size_t f = 0; f < 4; ++f) kind.parts[k].set(f, view->satellites[k][f]);
        rows_.push_back(kind.parts[k].row());
    }
    return given(NmeaPacket::satellites);
}

DecodedPacket NmeaDecoder::one_row(NmeaPacket which, std::span<const double> values) noexcept {
    Kind& kind = of(which);
    for (NamedRow& row : kind.rows) {
        row.clear();
        for (std::size_t k = 0; k < values.size(); ++k) row.set(k, values[k]);
        rows_.push_back(row.row());
    }
    return given(which);
}

DecodedPacket NmeaDecoder::wind(const NmeaSentence& sentence) noexcept {
    FieldReader in(sentence);
    in.demand(sentence.count >= 5);
    double angle = in.number(0, -360, 360);
    const char reference = in.letter(1), unit = in.letter(3);
    in.demand(reference == 'R' || reference == 'T');
    double speed = wind_mps(in.number(2, 0, 1000), unit);
    in.demand(!std::isfinite(speed) || unit == 'N' || unit == 'K' || unit == 'M' || unit == 'S');
    if (!in.good()) return refused(NmeaPacket::wind);
    if (in.letter(4) == 'V') angle = speed = kNaN;
    const bool is_true = reference == 'T';
    const bool is_wind = is_true || anemometer_deg_;
    const double from = turned_deg(angle, is_true ? 0 : anemometer_deg_.value_or(kNaN));
    return one_row(NmeaPacket::wind,
                   std::array{angle, is_true ? 1.0 : 0.0, speed, is_wind ? speed : kNaN, is_wind ? from : kNaN});
}

DecodedPacket NmeaDecoder::weather(const NmeaSentence& sentence) noexcept {
    FieldReader in(sentence);
    in.demand(sentence.count >= 10);
    const double inches = in.number(0, 0, 100), bar = in.number(2, 0, 10);
    const double air_c = in.number(4, -150, 150), water_c = in.number(6, -50, 150);
    const double relative = in.number(8, 0, 100), absolute = in.number(9, 0, 1000), dew_c = in.number(10, -150, 150);
    const double from = in.number(12, 0, 360), from_magnetic = in.number(14, 0, 360);
    const double knots = in.number(16, 0, 1000), mps = in.number(18, 0, 1000);
    if (!in.good()) return refused(NmeaPacket::weather);
    return one_row(NmeaPacket::weather,
                   std::array{std::isfinite(bar) ? bar * kBar_pa : inches * kInchOfMercury_pa, air_c + kCelsius,
                              water_c + kCelsius, relative, absolute, dew_c + kCelsius,
                              std::isfinite(mps) ? mps : knots * kKnot_mps, from, from_magnetic});
}

DecodedPacket NmeaDecoder::heading(const NmeaSentence& sentence) noexcept {
    FieldReader in(sentence);
    in.demand(sentence.count >= 1);
    const double heading = in.number(0, 0, 360);
    if (!in.good()) return refused(NmeaPacket::heading);
    return one_row(NmeaPacket::heading, std::array{heading});
}

DecodedPacket NmeaDecoder::engine(const NmeaSentence& sentence) noexcept {
    FieldReader in(sentence);
    in.demand(sentence.count >= 5);
    const char source = in.letter(0);
    in.demand(source == 'E' || source == 'S');
    const double number = in.number(1, 0, 99);
    double speed = in.number(2, -1e6, 1e6), pitch = in.number(3, -100, 100);
    if (!in.good()) return refused(NmeaPacket::engine);
    if (in.letter(4) == 'V') speed = pitch = kNaN;
    // Numbers count from 1; 0 is the only one, or the one on the centre line.
    const bool is_first = source == 'E' && !(number > 1);
    return one_row(NmeaPacket::engine,
                   std::array{is_first ? std::abs(speed) : kNaN, speed, source == 'E' ? 1.0 : 0.0, number, pitch});
}

DecodedPacket NmeaDecoder::transducers(const NmeaSentence& sentence) noexcept {
    FieldReader in(sentence);
    in.demand(sentence.count >= 4);
    // An incomplete last transducer is dropped.
    std::array<double, kTransducersMax> values{};
    std::array<std::size_t, kTransducersMax> columns{};
    const std::size_t count = sentence.count / 4;
    std::uint64_t named = 0;
    for (std::size_t k = 0; k < count; ++k) {
        values[k] = in_si(in.number(4 * k + 1, -kBig, kBig), sentence.field(4 * k), sentence.field(4 * k + 2));
        const auto column = std::ranges::find_if(transducer_names_, [&](const std::string& name) {
            return is_column_name(sentence.field(4 * k + 3), name);
        });
        columns[k] = static_cast<std::size_t>(column - transducer_names_.begin());
        if (column != transducer_names_.end()) named |= std::uint64_t{1} << columns[k];
    }
    if (!in.good()) return refused(NmeaPacket::transducers);
    Kind& kind = of(NmeaPacket::transducers);
    if ((transducers_.had() & named) != 0) {
        if (transducers_.end()) rows_.push_back(kind.rows[transducer_row_].row());
        transducer_row_ = 1 - transducer_row_;
        kind.rows[transducer_row_].clear();
    }
    transducers_.add(named);
    std::size_t part = 0;
    for (std::size_t k = 0; k < count; ++k) {
        if (columns[k] < transducer_names_.size()) {
            kind.rows[transducer_row_].set(columns[k], values[k]);
        } else if (part < kind.parts.size()) {
            NamedRow& row = kind.parts[part++];
            row.clear();
            row.set(0, values[k]);
            for (std::size_t f : {0, 2, 3}) row.set(f == 0 ? 1 : f, sentence.field(4 * k + f));
            rows_.push_back(row.row());
        }
    }
    if (transducers_.due()) rows_.push_back(kind.rows[transducer_row_].row());
    if (!rows_.empty()) return given(NmeaPacket::transducers);
    return nothing(DecodeVerdict::part);
}

} // namespace turnstone
