#include "server/record/reprocess.hpp"

#include <map>
#include <system_error>
#include <utility>

#include "server/record/format/recording_id.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/stored_inputs.hpp"
#include "server/record/write/recording_file.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kCommitBytes = 8u << 20;

/// Removes what was written unless it is told to stay.
class Unfinished {
  public:
    explicit Unfinished(const std::filesystem::path& path) : path_(path) {}
    ~Unfinished() {
        std::error_code ignored; // nothing more can be done about it
        if (!kept_)
            for (const char* ending : {"", "-wal", "-shm"}) std::filesystem::remove(path_.string() + ending, ignored);
    }
    Unfinished(const Unfinished&) = delete;
    Unfinished& operator=(const Unfinished&) = delete;
    void keep() noexcept { kept_ = true; }

  private:
    const std::filesystem::path& path_;
    bool kept_ = false;
};

/// Writes what this version's pipeline makes of the inputs of `from` to `path`. `head` and `facts` (keys of meta) are
/// the new file's. Returns what is wrong with `from`; empty: nothing.
std::string write_again(RecordingReader& from, const PipelineSetup& setup, const std::filesystem::path& path,
                        const RecordingHead& head, const std::map<std::string, std::string>& facts) {
    const RecordingInfo info = from.info();
    Pipeline pipeline(setup, info.t_start_ns);
    create_recording(path, texts_of(setup), pipeline.schema(), head, false);
    RecordingFile output(path, pipeline.schema(), false);
    for (const auto& [key, value] : facts) output.set_meta(key, value);
    std::size_t waiting_bytes = 0;
    const std::string damage = feed_stored_inputs(
        from, kAllInputs, pipeline, info.t_end_ns, [&](const Inputs& input) { output.append(input); },
        [&](const Batch& batch) {
            output.append(batch, pipeline.progress());
            waiting_bytes += batch.numbers.size() * sizeof(double);
            if (waiting_bytes < kCommitBytes) return;
            output.commit();
            waiting_bytes = 0;
        });
    output.close("clean");
    return from.damage().empty() ? damage : from.damage();
}

} // namespace

Result<std::filesystem::path> reprocess(const std::filesystem::path& file, std::vector<VehicleSetup> vehicles,
                                        const std::filesystem::path& output_directory) {
    auto reader = RecordingReader::open(file);
    if (!reader) return tl::unexpected(reader.error());
    const auto setup = reader->setup(std::move(vehicles));
    if (!setup) return tl::unexpected(setup.error());
    const RecordingInfo info = reader->info();
    if (!is_plausible_start(info.t_start_ns)) return fail(file.string() + ": is damaged: its start cannot be true");
    std::error_code no_folder;
    std::filesystem::create_directories(output_directory, no_folder);
    if (no_folder) {
        return fail(output_directory.string() + ": the folder for the new recording cannot be made (" +
                    no_folder.message() + "); give another one");
    }
    try {
        const std::string vehicle = setup->vehicles.empty() ? "" : setup->vehicles.front().dictionary.vehicle;
        const std::string id = free_recording_id(output_directory, info.utc_start_ns, vehicle);
        const std::filesystem::path path = output_directory / (id + std::string(kRecordingEnding));
        Unfinished unfinished(path);
        const std::string damage = write_again(
            *reader, *setup, path,
            {.t_start_ns = info.t_start_ns, .utc_start_ns = info.utc_start_ns, .name = info.name, .continues = ""},
            {{"notes", info.notes}, {"reprocessed_from", info.id}});
        unfinished.keep();
        make_single_file(path);
        if (!damage.empty())
            return fail(file.string() + ": is damaged (" + damage + "); what could be read is in " + path.string());
        return path;
    } catch (const std::exception& failure) {
        return fail("reprocessing " + file.string() + ": " + failure.what());
    }
}

Result<void> make_again(const std::filesystem::path& file) {
    auto reader = RecordingReader::open(file);
    if (!reader) return tl::unexpected(reader.error());
    const auto setup = reader->setup();
    if (!setup) return tl::unexpected(setup.error());
    const RecordingInfo info = reader->info();
    const std::filesystem::path path = file.parent_path() / ("." + file.filename().string() + ".again");
    try {
        std::filesystem::remove(path);
        Unfinished unfinished(path);
        const std::string damage = write_again(
            *reader, *setup, path,
            {.t_start_ns = info.t_start_ns, .utc_start_ns = info.utc_start_ns, .name = info.name, .continues = ""},
            {{"notes", info.notes},
             {"inputs_dropped", std::to_string(info.inputs_dropped)},
             {"bytes_dropped", std::to_string(info.bytes_dropped)}});
        if (!damage.empty()) return fail(file.string() + ": is damaged: " + damage);
        if (!make_single_file(path)) return fail(path.string() + ": is held open by another program");
        reader = fail("");
        std::filesystem::rename(path, file);
        unfinished.keep();
        return {};
    } catch (const std::exception& failure) {
        return fail("making the rows of " + file.string() + " again: " + failure.what());
    }
}

} // namespace turnstone
