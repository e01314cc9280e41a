#pragma once
/// A recording made from inputs that are there already, in one order.
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <span>
#include <string>

#include "server/pipeline/station/pipeline.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recording_file.hpp"
#include "shared/result.hpp"

namespace turnstone::exchange {

/// Inputs one at a time through the pipeline into the file.
class InputWriter {
  public:
    InputWriter(Pipeline& pipeline, RecordingFile& file, std::size_t links, std::int64_t t_start_ns)
        : pipeline_(pipeline), file_(file), counter_(links, t_start_ns) {}

    // In the order of their times.
    void chunk(LinkId link, std::int64_t t_ns, std::int64_t utc_ns, std::span<const std::byte> bytes, bool carried);
    void action(std::int64_t t_ns, const Action& action);
    void advance(std::int64_t t_ns);

  private:
    void feed(std::int64_t t_ns);
    void step(std::int64_t t_ns);
    void append();

    Pipeline& pipeline_;
    RecordingFile& file_;
    InputCounter counter_;
    Inputs inputs_;
    Batch batch_;
    std::size_t waiting_bytes_ = 0;
};

/// What a new recording begins with.
struct NewRecording {
    const PipelineSetup& setup;
    const std::filesystem::path& folder;
    std::string working_name; ///< while it is made
    std::int64_t t_start_ns, utc_start_ns;
    std::string name, notes;
    std::map<std::string, std::string> facts; ///< further keys of meta
};

/// Makes it of what `write` gives, under a new id, and returns its path. A failure, also a thrown one that is a
/// std::exception, leaves nothing.
[[nodiscard]] Result<std::filesystem::path> make_recording(const NewRecording& about,
                                                           const std::function<Result<void>(InputWriter&)>& write);

/// Fails when a recording turned out to be damaged while it was read.
[[nodiscard]] Result<void> whole(RecordingReader& recording);

} // namespace turnstone::exchange
