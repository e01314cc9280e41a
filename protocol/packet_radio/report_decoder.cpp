#include "protocol/packet_radio/report_decoder.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "protocol/packet/ax25.hpp"
#include "protocol/packet/space_packet.hpp"
#include "protocol/text/utf8.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kTextBytesMax = 256; // as many as an information field has without agreement (AX.25 v2.2, 6.7.2)
constexpr std::size_t kTextsMost = 9;      // of one frame
constexpr std::size_t kSaidBytesMax = 4096;
constexpr double kMetresOfDegree = 1852.0 * 60;

constexpr std::array<std::string_view, 18> kPositionColumns{"utc_time_of_day",
                                                            "latitude",
                                                            "longitude",
                                                            "height_msl",
                                                            "velocity_east",
                                                            "velocity_north",
                                                            "speed",
                                                            "course",
                                                            "fix_dimensions",
                                                            "accuracy_horizontal",
                                                            "accuracy_speed",
                                                            "ambiguity",
                                                            "format",
                                                            "symbol",
                                                            "time",
                                                            "path",
                                                            "gateway",
                                                            "comment"};
constexpr std::array<std::string_view, 20> kTelemetryColumns{
    "sequence", "analog_1", "analog_2", "analog_3", "analog_4", "analog_5", "value_1", "value_2", "value_3", "value_4",
    "value_5",  "bit_1",    "bit_2",    "bit_3",    "bit_4",    "bit_5",    "bit_6",   "bit_7",   "bit_8",   "comment"};
constexpr std::array<std::string_view, 2> kNamesColumns{"kind", "text"};
constexpr std::array<std::string_view, 19> kWeatherColumns{
    "station",  "latitude", "longitude", "wind_from", "wind_speed",    "wind_gust", "temperature",
    "humidity", "pressure", "rain_1h",   "rain_24h",  "rain_midnight", "snow_24h",  "luminosity",
    "object",   "time",     "path",      "gateway",   "text"};
constexpr std::array<std::string_view, 16> kHeardColumns{
    "station",  "destination", "path",       "gateway", "kind",   "refused",   "name",   "alive",
    "latitude", "longitude",   "height_msl", "speed",   "course", "ambiguity", "symbol", "text"};

/// That reports fill, of a packet.
std::span<const std::string_view> radio_columns(RadioPacket packet) noexcept {
    switch (packet) {
    case RadioPacket::position: return kPositionColumns;
    case RadioPacket::telemetry: return kTelemetryColumns;
    case RadioPacket::telemetry_names: return kNamesColumns;
    case RadioPacket::weather: return kWeatherColumns;
    case RadioPacket::heard: break;
    }
    return kHeardColumns;
}

bool is_printable(char c) noexcept {
    return c > ' ' && c < 0x7F;
}

/// Of a place in a row: one number behind the other.
class Filler {
  public:
    explicit Filler(NamedRow& row) : row_(&row) { row.clear(); }
    Filler& number(double value) noexcept {
        row_->set(at_++, value);
        return *this;
    }
    Filler& text(std::string_view value) noexcept {
        row_->set(at_++, value);
        return *this;
    }

  private:
    NamedRow* row_;
    std::size_t at_ = 0;
};

double or_none(double value, bool holds) noexcept {
    return holds ? value : kNaN;
}

/// One standard deviation, across the ground, where the digits say less than a receiver knows. Senders round them or
/// cut them off: even from nothing to a step.
double accuracy_horizontal_m(const ReportPosition& position) noexcept {
    constexpr double kReceiver_m = 3; // common practice, no source
    const double by_digits_m = position.step_deg * kMetresOfDegree / std::numbers::sqrt3;
    return by_digits_m > kReceiver_m ? std::hypot(by_digits_m, kReceiver_m) : kNaN;
}

/// Of the velocity, by the steps of speed and course, which are rounded.
double accuracy_speed_mps(const ReportPosition& position) noexcept {
    const double across_mps = position.speed_mps * position.course_step_deg * std::numbers::pi / 180;
    return std::hypot(position.speed_step_mps, across_mps) / std::sqrt(12.0);
}

DecodedPacket no_row(DecodeVerdict why) noexcept {
    DecodedPacket out{why, 0, kIdleApid, 0, false, 0, {}};
    out.is_counted = false;
    return out;
}

} // namespace

ReportDecoder::ReportDecoder(const Dictionary& dictionary, std::string station)
    : dictionary_(&dictionary), station_(std::move(station)), texts_(3 * kTextBytesMax * kTextsMost) {
    for (std::size_t k = 0; k < kinds_.size(); ++k) {
        const auto which = static_cast<RadioPacket>(k);
        const auto packet = std::ranges::find(dictionary.packets, word(which), &Packet::name);
        const auto table = table_named(dictionary, word(which));
        if (packet == dictionary.packets.end() || !table) continue;
        kinds_[k].packet = static_cast<std::size_t>(packet - dictionary.packets.begin());
        kinds_[k].row = NamedRow(dictionary, *table, radio_columns(which));
    }
    said_.reserve(kSaidBytesMax);
}

std::string_view ReportDecoder::text(std::string_view from) noexcept {
    char* const to = texts_.data() + texts_size_;
    const std::size_t size = to_valid_utf8(std::as_bytes(std::span(from.substr(0, kTextBytesMax))), to);
    texts_size_ += size;
    return {to, size};
}

ReportDecoder::Way ReportDecoder::way_of(std::span<const std::byte> addresses) noexcept {
    std::size_t size = 0;
    const auto address = [&](std::size_t k) {
        return addresses.subspan(k * kAx25AddressBytes).first<kAx25AddressBytes>();
    };
    const auto name = [&](std::size_t k) {
        char* const to = names_.data() + size;
        const std::size_t written = write_ax25_name(address(k), to);
        size += written;
        return std::string_view(to, written);
    };
    Way way;
    way.destination = name(0);
    way.station = name(1);
    const std::size_t count = addresses.size() / kAx25AddressBytes, path = size;
    std::size_t last = 0; // the newest that has repeated it
    for (std::size_t k = 2; k < count; ++k)
        if (has_repeated(address(k))) last = k;
    for (std::size_t k = 2; k < count; ++k) {
        if (k > 2) names_[size++] = ',';
        (void)name(k);
        if (k == last) names_[size++] = '*';
    }
    way.path = {names_.data() + path, size - path};
    way.is_repeated = last > 0;
    return way;
}

bool ReportDecoder::take_third_party(std::string_view& information, Way& way) noexcept {
    const std::size_t colon = information.find(':');
    if (colon == std::string_view::npos) return false;
    const std::string_view header = information.substr(1, colon - 1); // SOURCE>DESTINATION,PATH
    const std::size_t arrow = header.find('>');
    if (arrow == std::string_view::npos || arrow == 0 || arrow > kAx25NameMost ||
        !std::ranges::all_of(header, is_printable))
        return false;
    const std::string_view rest = header.substr(arrow + 1);
    const std::string_view destination = rest.substr(0, rest.find(','));
    if (destination.empty() || destination.size() > kAx25NameMost) return false;
    if (way.gateway.empty()) way.gateway = way.station; // the one that was heard
    way.station = header.substr(0, arrow);
    way.destination = destination;
    way.is_repeated = true;
    information.remove_prefix(colon + 1);
    return true;
}

void ReportDecoder::fill_position(NamedRow& row, const Report& report, const Way& way) noexcept {
    const ReportPosition& at = report.position;
    const double course_rad = at.course_deg * std::numbers::pi / 180;
    const bool rests = at.speed_mps == 0; // and needs no course to have no velocity
    const bool is_exact = at.is_current && at.ambiguity == 0;
    const double dimensions = !is_exact ? 1 : std::isfinite(at.height_msl_m) ? 3 : 2;
    const bool has_symbol = is_printable(at.symbol[0]) && is_printable(at.symbol[1]);
    Filler(row)
        .number(report.utc_time_of_day_s)
        .number(at.latitude_deg)
        .number(at.longitude_deg)
        .number(at.height_msl_m)
        .number(rests ? 0 : at.speed_mps * std::sin(course_rad))
        .number(rests ? 0 : at.speed_mps * std::cos(course_rad))
        .number(at.speed_mps)
        .number(at.course_deg)
        .number(dimensions)
        .number(accuracy_horizontal_m(at))
        .number(accuracy_speed_mps(at))
        .number(at.ambiguity)
        .number(static_cast<double>(at.format))
        .text(has_symbol ? text({at.symbol.data(), at.symbol.size()}) : "")
        .text(text(report.time))
        .text(way.path)
        .text(way.gateway)
        .text(text(report.text));
}

void ReportDecoder::fill_telemetry(NamedRow& row, const Report& report, std::string_view comment) noexcept {
    const ReportTelemetry& told = report.telemetry;
    Filler filler(row);
    filler.number(told.sequence);
    for (const double raw : told.analog) filler.number(raw);
    for (std::size_t k = 0; k < kAnalogCount; ++k) {
        const auto& [a, b, c] = equations_[k];
        const double raw = told.analog[k];
        filler.number(or_none((a * raw + b) * raw + c, has_equations_));
    }
    for (const double bit : told.bits) filler.number(bit);
    filler.text(text(comment));
}

void ReportDecoder::fill_weather(NamedRow& row, const Report& report, const Way& way) noexcept {
    const ReportWeather& told = report.weather;
    Filler(row)
        .text(text(way.station))
        .number(report.position.latitude_deg)
        .number(report.position.longitude_deg)
        .number(told.wind_from_deg)
        .number(told.wind_mps)
        .number(told.gust_mps)
        .number(told.temperature_degc)
        .number(told.humidity_percent)
        .number(told.pressure_pa)
        .number(told.rain_1h_mm)
        .number(told.rain_24h_mm)
        .number(told.rain_midnight_mm)
        .number(told.snow_mm)
        .number(told.luminosity_wpm2)
        .text(text(report.name))
        .text(text(report.time))
        .text(way.path)
        .text(way.gateway)
        .text(text(report.text));
}

void ReportDecoder::fill_heard(NamedRow& row, const Report& report, const Way& way) noexcept {
    const ReportPosition& at = report.position;
    const bool is_thing = report.kind == ReportKind::object || report.kind == ReportKind::item;
    const bool has_symbol = is_printable(at.symbol[0]) && is_printable(at.symbol[1]);
    Filler(row)
        .text(text(way.station))
        .text(text(way.destination))
        .text(way.path)
        .text(way.gateway)
        .number(static_cast<double>(report.kind))
        .number(static_cast<double>(report.fault))
        .text(text(report.name))
        .number(or_none(report.is_alive ? 1 : 0, is_thing && report.fault == ReportFault::none))
        .number(at.latitude_deg)
        .number(at.longitude_deg)
        .number(at.height_msl_m)
        .number(at.speed_mps)
        .number(at.course_deg)
        .number(or_none(at.ambiguity, at.format != PositionFormat::none))
        .text(has_symbol ? text({at.symbol.data(), at.symbol.size()}) : "")
        .text(text(report.text));
}

void ReportDecoder::take_names(const Report& report) noexcept {
    constexpr std::string_view kEquations = "EQNS.";
    constexpr std::size_t kMark = 4; // and a point
    if (report.text.starts_with(kEquations)) {
        if (!has_equations_) equations_.fill({0, 1, 0}); // what is not given stays as it is
        has_equations_ = read_equations(report.text.substr(kEquations.size()), equations_) || has_equations_;
    }
    if (!of(RadioPacket::telemetry_names).packet) return;
    Filler(of(RadioPacket::telemetry_names).row)
        .text(text(report.text.substr(0, kMark)))
        .text(text(report.text.substr(kMark + 1)));
    add(RadioPacket::telemetry_names);
}

void ReportDecoder::add(RadioPacket which) noexcept {
    if (row_count_ == 0) first_ = which;
    rows_[row_count_++] = of(which).row.row();
}

DecodedPacket ReportDecoder::given(const Way& way, std::string_view information) noexcept {
    Kind& kind = of(first_);
    // A digipeater changes the path, and may take blanks off the end; some count down the destination's SSID.
    said_.clear();
    const auto say = [&](std::string_view part) {
        const auto bytes = std::as_bytes(std::span(part.substr(0, kSaidBytesMax - said_.size())));
        said_.insert(said_.end(), bytes.begin(), bytes.end());
    };
    say(way.station);
    say(">");
    say(way.destination.substr(0, way.destination.find('-')));
    say(":");
    say(information);
    DecodedPacket out{DecodeVerdict::good,
                      *kind.packet,
                      dictionary_->packets[*kind.packet].apid,
                      kind.count,
                      false,
                      0,
                      std::span(rows_.data(), row_count_)};
    out.is_counted = false;
    out.said = said_;
    out.is_repeated = way.is_repeated;
    kind.count = static_cast<std::uint16_t>((kind.count + 1U) % kSequenceModulus);
    return out;
}

DecodedPacket ReportDecoder::decode(std::span<const std::byte> bytes) noexcept {
    texts_size_ = 0;
    row_count_ = 0;
    const Ax25Frame frame = split_ax25(bytes);
    if (frame.verdict != Ax25Verdict::ui || frame.protocol != kNoLayer3) return no_row(DecodeVerdict::unused);
    Way way = way_of(frame.addresses);
    std::string_view information(reinterpret_cast<const char*>(frame.information.data()), frame.information.size());
    constexpr std::string_view kEnds("\r\n\0 ", 4);
    information = information.substr(0, information.find_last_not_of(kEnds) + 1);
    bool has_header = true;
    while (has_header && information.starts_with('}')) has_header = take_third_party(information, way);
    Report report;
    if (has_header)
        report = read_report(information, way.destination.substr(0, way.destination.find('-')));
    else
        report.fault = ReportFault::header, report.text = information;

    const bool is_ours = !station_.empty() && way.station == station_ && report.fault == ReportFault::none;
    const auto has = [&](RadioPacket which) { return is_ours && of(which).packet.has_value(); };
    const bool has_position = report.kind == ReportKind::position && has(RadioPacket::position);
    if (has_position) {
        fill_position(of(RadioPacket::position).row, report, way);
        add(RadioPacket::position);
    }
    if ((report.kind == ReportKind::telemetry ||
         (report.kind == ReportKind::position && std::isfinite(report.telemetry.sequence))) &&
        has(RadioPacket::telemetry)) {
        fill_telemetry(of(RadioPacket::telemetry).row, report, has_position ? "" : report.text);
        add(RadioPacket::telemetry);
    }
    if (report.kind == ReportKind::telemetry_names && is_ours && report.name == station_) take_names(report);
    if (row_count_ == 0 && of(RadioPacket::heard).packet) {
        fill_heard(of(RadioPacket::heard).row, report, way);
        add(RadioPacket::heard);
    }
    if (report.weather.is_said && of(RadioPacket::weather).packet) {
        fill_weather(of(RadioPacket::weather).row, report, way);
        add(RadioPacket::weather);
    }
    if (row_count_ > 0) return given(way, information);
    const bool is_bad = report.fault != ReportFault::none && way.station == station_;
    return no_row(is_bad ? DecodeVerdict::bad_value : DecodeVerdict::unused);
}

} // namespace turnstone
