#include "server/exchange/write/track.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>

#include "server/exchange/write/text.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

constexpr std::int64_t kTrackGapLeast_ns = 2 * kNsPerS;
constexpr double kGapPeriods = 3.5;
constexpr std::int64_t kEventHold_ns = 5 * kNsPerS; ///< how old a position may be that an event has
constexpr int kDegreeDecimals = 8;
constexpr int kMetreDecimals = 3;

std::optional<std::size_t> column_of(const Table& table, std::string_view role, std::string_view name) {
    for (std::size_t c = 0; c < table.number_count; ++c)
        if (table.columns[c].role == role || table.columns[c].name == name) return c;
    return std::nullopt;
}

std::optional<Tracks::Place> place_in(const Table& table) {
    const auto latitude = column_of(table, "latitude", "latitude_deg");
    const auto longitude = column_of(table, "longitude", "longitude_deg");
    if (!latitude || !longitude) return std::nullopt;
    const auto ellipsoid = column_of(table, "height_ellipsoid", "height_m");
    const auto msl = column_of(table, "height_msl", "altitude_msl_m");
    return Tracks::Place{&table,
                         *latitude,
                         *longitude,
                         ellipsoid ? ellipsoid : msl,
                         column_of(table, "fix_dimensions", "fix_dimensions"),
                         !ellipsoid};
}

std::vector<ColumnChoice> choices_of(const std::vector<Tracks::Place>& places) {
    std::vector<ColumnChoice> choices;
    for (const Tracks::Place& place : places) {
        choices.push_back({place.table->id, {place.latitude, place.longitude}});
        for (const auto& column : {place.height, place.fix_dimensions})
            if (column) choices.back().columns.push_back(*column);
    }
    return choices;
}

std::vector<Tracks::Place> places_of(const Subject& subject, const std::vector<ColumnChoice>& choices) {
    std::vector<Tracks::Place> places;
    for (const ColumnChoice& choice : choices)
        if (const auto place = place_in(subject.reader.schema().tables[choice.table])) places.push_back(*place);
    return places;
}

void put_fixed(Output& out, double value, int decimals) {
    constexpr std::size_t kRoom = 400; // the greatest double has 309 digits
    char* at = out.room(kRoom);
    out.used(std::to_chars(at, at + kRoom, value, std::chars_format::fixed, decimals).ptr);
}

} // namespace

Tracks::Tracks(const Subject& subject, const std::vector<ColumnChoice>& choices, Span span)
    : subject_(subject), span_(span), places_(places_of(subject, choices)),
      stream_(subject.reader.stream(choices_of(places_))) {}

void Tracks::start(std::size_t place, Span span) {
    place_ = place;
    stream_.start(span.from_ns, span.to_ns, place);
}

bool Tracks::next() {
    const Place& place = places_[place_];
    while (stream_.next()) {
        const auto numbers = stream_.row().numbers;
        const std::size_t dimensions_at = place.height ? 3 : 2;
        if (place.fix_dimensions && !(numbers[dimensions_at] >= 2)) continue;
        if (!(std::abs(numbers[0]) <= 90) || !(std::abs(numbers[1]) <= 360)) continue;
        const double half_step = 0.5 * std::pow(10.0, -kDegreeDecimals);
        double longitude_deg = numbers[1];
        if (longitude_deg >= 180 - half_step) longitude_deg -= 360; // as it is rounded, too
        if (longitude_deg < -180 - half_step) longitude_deg += 360;
        const double height_m = place.height ? numbers[2] : std::numeric_limits<double>::quiet_NaN();
        const double geoid_m = subject_.setup.site.geoid_height_m;
        position_ = {stream_.row().t_ns, numbers[0], longitude_deg, place.height_is_msl ? height_m + geoid_m : height_m,
                     place.height_is_msl ? height_m : height_m - geoid_m};
        return true;
    }
    return false;
}

bool Tracks::find_stretches(std::size_t place, Steps& steps, std::vector<Stretch>& out) {
    steps.begin_part(2 * place, 2 * places_.size());
    const auto gap_ns =
        std::max(kTrackGapLeast_ns, static_cast<std::int64_t>(kGapPeriods * places_[place].table->period_s * 1e9));
    std::optional<Position> before;
    start(place, span_);
    while (next()) {
        const bool joins = before && position_.t_ns - before->t_ns <= gap_ns &&
                           std::abs(position_.longitude_deg - before->longitude_deg) <= 180;
        if (!joins) out.push_back({{position_.t_ns, position_.t_ns}, 0});
        out.back().span.to_ns = position_.t_ns + 1;
        ++out.back().positions;
        before = position_;
        if (!steps.go_on(position_.t_ns)) return false;
    }
    steps.begin_part(2 * place + 1, 2 * places_.size());
    return true;
}

std::vector<PlacedEvent> Tracks::events() {
    std::vector<PlacedEvent> out;
    for (const Event& event : subject_.reader.events(span_.from_ns, span_.to_ns)) {
        if (event.kind != EventKind::flight_event || event.vehicle < 0) continue;
        // Estimates stand behind the packets they are made from, and are better where there are some.
        for (std::size_t place = places_.size(); place-- > 0;) {
            if (places_[place].table->vehicle != event.vehicle) continue;
            start(place, {event.t_ns - kEventHold_ns, event.t_ns + 1});
            bool found = false;
            while (next()) found = true;
            if (!found) continue;
            out.push_back({position_, event.text});
            out.back().at.t_ns = event.t_ns;
            break;
        }
    }
    return out;
}

void put_degrees(Output& out, double degrees) {
    put_fixed(out, degrees, kDegreeDecimals);
}

void put_metres(Output& out, double metres) {
    put_fixed(out, metres, kMetreDecimals);
}

} // namespace turnstone::exchange
