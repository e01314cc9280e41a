#pragma once
/// What operators write on the tape: markers, notes, names and descriptions of flights. A marker or a note can be given
/// another text or be taken back: an event with its key then takes its place.
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "server/pipeline/action.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

class OperatorLog {
  public:
    /// `setup` must outlive it.
    OperatorLog(const PipelineSetup& setup, std::int64_t t_start_ns)
        : setup_(&setup), t_start_ns_(t_start_ns), flights_(setup.vehicles.size(), {.from_ns = t_start_ns}) {}

    void take(const Marker& marker, std::int64_t t_ns, Batch& out);
    void take(const Note& note, std::int64_t t_ns, Batch& out);
    void take(const ChangeMark& change, std::int64_t t_ns, Batch& out);
    void take(const NameFlight& flight, std::int64_t t_ns, Batch& out);
    void take(const DescribeFlight& flight, std::int64_t t_ns, Batch& out);
    /// What was appended to `batch` since `from`: a name is of one flight.
    void see(const Batch& batch, Marks from);
    /// What the next recording must know.
    void carry(std::vector<Action>& actions) const;

  private:
    struct Mark {
        EventId id;
        std::int64_t t_ns;
        std::string text;
    };
    /// The flight that a vehicle is on, or else its next one.
    struct Flight {
        std::int64_t from_ns; ///< since when it was ready for it
        std::string name = {};
        DescribeFlight described = {};
    };
    void place(EventId id, const std::string& text, std::optional<std::int64_t> at_ns, std::int64_t t_ns, Batch& out);
    [[nodiscard]] std::optional<std::size_t> vehicle_named(const std::string& name) const;
    /// When it happened: behind live, but never before the start of the tape or ahead of its head.
    [[nodiscard]] std::int64_t placed(std::optional<std::int64_t> at_ns, std::int64_t t_ns) const;
    void tell(EventId id, std::size_t vehicle, std::int64_t at_ns, std::int64_t t_ns, EventValues values,
              Batch& out) const;

    const PipelineSetup* setup_;
    std::int64_t t_start_ns_;
    std::map<std::string, Mark, std::less<>> marks_; ///< by the key of their events
    std::vector<Flight> flights_;                    ///< by vehicle
};

} // namespace turnstone
