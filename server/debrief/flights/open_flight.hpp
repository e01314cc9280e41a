#pragma once
/// A flight as everything that works on one finds it: by its id, with its recording open.
#include <memory>
#include <string_view>

#include "server/debrief/flights/chapters.hpp"
#include "server/debrief/flights/flight_id.hpp"
#include "server/debrief/recordings.hpp"
#include "server/record/by_name/recorded.hpp"
#include "server/record/read/reader.hpp"
#include "shared/result.hpp"

namespace turnstone::debrief {

class OpenFlight {
  public:
    OpenFlight(FlightId id, RecordingReader opened)
        : id_(std::move(id)), reader_(std::move(opened)), recorded_(reader_) {}
    OpenFlight(const OpenFlight&) = delete; // `recorded` points into it
    OpenFlight& operator=(const OpenFlight&) = delete;

    [[nodiscard]] const FlightId& id() const noexcept { return id_; }
    [[nodiscard]] RecordingReader& reader() noexcept { return reader_; }
    [[nodiscard]] const Recorded& recorded() const noexcept { return recorded_; }
    [[nodiscard]] const Chapter& chapter() const noexcept { return chapter_; }

  private:
    friend Result<std::unique_ptr<OpenFlight>> open_flight(const Recordings& recordings, std::string_view id);
    FlightId id_;
    RecordingReader reader_;
    Recorded recorded_;
    Chapter chapter_;
};

/// Fails for a chapter without a liftoff, too.
[[nodiscard]] Result<std::unique_ptr<OpenFlight>> open_flight(const Recordings& recordings, std::string_view id);

/// The chapter of that vehicle and number; null: none.
[[nodiscard]] const Chapter* find_chapter(const Recorded& recorded, const std::vector<Chapter>& chapters,
                                          const FlightId& id);

} // namespace turnstone::debrief
