#pragma once
/// What operators write on the tape: markers, notes, and names of flights. A marker or a note can be given another text
/// or be taken back: an event with its key then takes its place.
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
        : setup_(&setup), t_start_ns_(t_start_ns), flight_names_(setup.vehicles.size()) {}

    void take(const Marker& marker, std::int64_t t_ns, Batch& out);
    void take(const Note& note, std::int64_t t_ns, Batch& out);
    void take(const ChangeMark& change, std::int64_t t_ns, Batch& out);
    void take(const NameFlight& flight, std::int64_t t_ns, Batch& out);
    /// What was appended to `batch` since `from`: a name is of one flight.
    void see(const Batch& batch, Marks from);
    /// What the next recording must know.
    [[nodiscard]] std::vector<NameFlight> carried() const;

  private:
    struct Mark {
        EventId id;
        std::int64_t t_ns;
        std::string text;
    };
    void place(EventId id, const std::string& text, std::optional<std::int64_t> at_ns, std::int64_t t_ns, Batch& out);

    const PipelineSetup* setup_;
    std::int64_t t_start_ns_;
    std::map<std::string, Mark, std::less<>> marks_; ///< by the key of their events
    std::vector<std::string> flight_names_;          ///< by vehicle; empty: none
};

} // namespace turnstone
