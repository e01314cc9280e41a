#pragma once
/// Positions of a table's rows, for the formats of maps.
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "server/exchange/table/rows.hpp"
#include "server/exchange/write/output.hpp"
#include "server/exchange/write/subject.hpp"

namespace turnstone::exchange {

struct Position {
    std::int64_t t_ns = 0;
    double latitude_deg = 0;
    double longitude_deg = 0; ///< [-180, 180)
    double ellipsoid_m = 0;   ///< height above the ellipsoid, NaN: unknown; the site's geoid lies between the two
    double msl_m = 0;
};

/// Positions one after the other without a gap, and without crossing the 180th meridian.
struct Stretch {
    Span span;
    std::size_t positions;
};

/// A place where something happened.
struct PlacedEvent {
    Position at;
    std::string text;
};

class Tracks {
  public:
    /// Of the tables that have a position: GNSS fixes by their roles, and the navigation estimate.
    Tracks(const Subject& subject, const std::vector<ColumnChoice>& choices, Span span);

    struct Place {
        const Table* table;
        std::size_t latitude, longitude; ///< of its columns; this and the next
        std::optional<std::size_t> height, fix_dimensions;
        bool height_is_msl;
    };
    [[nodiscard]] const std::vector<Place>& places() const noexcept { return places_; }
    void start(std::size_t place, Span span);
    [[nodiscard]] bool next();
    [[nodiscard]] const Position& position() const noexcept { return position_; }
    /// False: stopped. Reads all of the place's positions.
    [[nodiscard]] bool find_stretches(std::size_t place, Steps& steps, std::vector<Stretch>& out);
    /// Events of flights of the tables' vehicles, in the span.
    [[nodiscard]] std::vector<PlacedEvent> events();

  private:
    const Subject& subject_;
    Span span_;
    std::vector<Place> places_;
    RowStream stream_;
    std::size_t place_ = 0;
    Position position_;
};

/// Degrees and metres as plain decimals: to 1 mm on the ground, and to 1 mm.
void put_degrees(Output& out, double degrees);
void put_metres(Output& out, double metres);

} // namespace turnstone::exchange
