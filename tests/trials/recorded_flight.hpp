#pragma once
/// A simulated flight as a recording of the demo's vehicle and its mass record, as a server would have left it.
#include <filesystem>
#include <span>
#include <stdexcept>
#include <string>

#include "server/pipeline/station/pipeline.hpp"
#include "server/record/write/recording_file.hpp"
#include "shared/time.hpp"
#include "tests/report/recording.hpp"
#include "tests/support/tree.hpp"
#include "tools/sim/fly.hpp"

namespace turnstone::debrief_test {

inline constexpr std::int64_t kRecordedFrom_ns = 1'780'000'000'000'000'000;

/// Returns the file. Predictions are flown as live, one round in `rounds`.
inline std::filesystem::path recorded_flight(const std::filesystem::path& folder, const std::string& id,
                                             const sim::FlightResult& flight, std::uint64_t rounds = 20) {
    const PipelineSetup setup =
        report_test::demo_setup({{"mass.csv", test::read_file(test::demo_path("sanderling/mass.csv"))}});
    std::filesystem::path path = folder / (id + ".sqlite");
    Pipeline pipeline(setup, kRecordedFrom_ns);
    pipeline.fly_one_prediction_in(rounds);
    create_recording(path, texts_of(setup), pipeline.schema(),
                     {.t_start_ns = kRecordedFrom_ns, .utc_start_ns = kRecordedFrom_ns, .name = "", .continues = ""},
                     false);
    RecordingFile output(path, pipeline.schema(), false);
    Batch batch;
    std::uint64_t input = 0;
    for (const sim::Delivery& delivery : flight.received.deliveries) {
        const std::int64_t t_ns = kRecordedFrom_ns + seconds_to_ns(delivery.t_end_s);
        const auto bytes = std::as_bytes(std::span(flight.received.bytes).subspan(delivery.offset, delivery.size));
        Inputs inputs;
        inputs.bytes.assign(bytes.begin(), bytes.end());
        inputs.chunks.push_back(
            {input++, 0, t_ns, t_ns, delivery.offset, false, {0, static_cast<std::uint32_t>(bytes.size())}});
        batch.clear();
        pipeline.take(inputs, batch);
        output.append(inputs);
        (void)output.append(batch, pipeline.progress());
    }
    output.close("clean");
    return path;
}

} // namespace turnstone::debrief_test
