#include "server/monitor/checks/said_gauges.hpp"

#include <algorithm>
#include <string_view>
#include <utility>

#include "server/pipeline/checklist/procedure.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// One whose reading is made from the logbook alone.
template <class Read>
class BookGauge final : public Gauge {
  public:
    explicit BookGauge(Read read) : read_(std::move(read)) {}
    void begin(std::int64_t t_ns) override { since_ns_ = t_ns; }
    Reading at(std::int64_t t_ns) override { return read_(t_ns, since_ns_); }

  private:
    Read read_;
    std::int64_t since_ns_ = 0;
};

template <class Read>
std::unique_ptr<Gauge> book_gauge(Read read) {
    return std::make_unique<BookGauge<Read>>(std::move(read));
}

/// Of the vehicle, of a link that carries it, or of the station.
bool concerns(const RaisedAlert& alert, const CheckedVehicle& vehicle) {
    constexpr std::string_view kLink = "link/";
    if (alert.key.starts_with(kLink))
        return std::ranges::any_of(vehicle.links, [&](const std::string& link) {
            return alert.key.substr(kLink.size()).starts_with(link + "/");
        });
    return alert.vehicle == vehicle.index || alert.vehicle < 0;
}

} // namespace

std::unique_ptr<Gauge> make_alert_gauge(const Check& check, CheckedVehicle vehicle, const Logbook& book) {
    const auto only = from_word<EventId>(check.name);
    return book_gauge(
        [only, level = check.level, vehicle = std::move(vehicle), &book](std::int64_t t_ns, std::int64_t) {
            Reading out{.value = 0, .t_ns = t_ns};
            for (const RaisedAlert& alert : book.alerts()) {
                // Alerts that follow from predictions count only where they are named: the others are the same wherever
                // predictions are passed over.
                const bool is_one = only ? alert.id == *only : !alert.from_predictions;
                if (!is_one || alert.level < level || !concerns(alert, vehicle)) continue;
                out.value += 1;
                out.why += (out.why.empty() ? "" : "; ") + alert.text;
            }
            return out;
        });
}

std::unique_ptr<Gauge> make_passed_gauge(std::string procedure, CheckedVehicle vehicle, const Logbook& book) {
    return book_gauge([procedure = std::move(procedure), vehicle = std::move(vehicle), &book](std::int64_t t_ns,
                                                                                              std::int64_t) -> Reading {
        constexpr double kDay_s = 86'400;
        const auto past = book.past(vehicle.name, procedure);
        if (past && past->has_failed_since())
            return {.t_ns = *past->failed_ns, .why = "it failed when it was last run", .missed = true};
        if (!past || !past->passed_ns) return {.why = "not passed yet"};
        std::string why = past->recording.empty() ? "in this recording" : "in recording " + past->recording;
        why += waived_words(past->waived);
        if (!past->sha256.empty()) why += ", SHA-256 " + past->sha256;
        return {.value = seconds_between(*past->passed_ns, t_ns) / kDay_s, .t_ns = t_ns, .why = std::move(why)};
    });
}

std::unique_ptr<Gauge> make_statement_gauge(std::string check, CheckedVehicle vehicle, const Logbook& book,
                                            bool since_begin) {
    return book_gauge([check = std::move(check), vehicle = std::move(vehicle), &book,
                       since_begin](std::int64_t, std::int64_t since_ns) -> Reading {
        const auto said = book.statement(vehicle.name, check);
        if (!said || (since_begin && said->t_ns < since_ns)) return {.why = "nobody has confirmed it yet"};
        return {.value = said->holds ? 1.0 : 0.0,
                .t_ns = said->t_ns,
                .why = said->by + (said->note.empty() ? "" : ": " + said->note)};
    });
}

std::unique_ptr<Gauge> make_entered_gauge(std::string name, CheckedVehicle vehicle, const Logbook& book) {
    return book_gauge(
        [name = std::move(name), vehicle = std::move(vehicle), &book](std::int64_t, std::int64_t) -> Reading {
            const auto said = book.entered(vehicle.name, name);
            if (!said) return {.why = "nobody has entered it yet"};
            return {.value = said->value, .t_ns = said->t_ns, .why = "entered by " + said->by};
        });
}

std::unique_ptr<Gauge> make_station_gauge(StationValue what, const Logbook& book) {
    return book_gauge([what, &book](std::int64_t, std::int64_t) -> Reading {
        const auto said = book.station(what);
        if (!said) return {.why = "the station has not said yet"};
        return {.value = said->value, .t_ns = said->t_ns};
    });
}

} // namespace turnstone
