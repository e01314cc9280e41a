#include "server/record/reprocess.hpp"

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

} // namespace

Result<std::filesystem::path> reprocess(const std::filesystem::path& file, std::vector<VehicleSetup> vehicles,
                                        const std::filesystem::path& output_directory) {
    auto reader = RecordingReader::open(file);
    if (!reader) return tl::unexpected(reader.error());
    const auto setup = reader->setup(std::move(vehicles));
    if (!setup) return tl::unexpected(setup.error());
    const RecordingInfo info = reader->info();
    std::error_code no_folder;
    std::filesystem::create_directories(output_directory, no_folder);
    if (no_folder) {
        return fail(output_directory.string() + ": the folder for the new recording cannot be made (" +
                    no_folder.message() + "); give another one");
    }
    try {
        const std::string vehicle = setup->vehicles.empty() ? "" : setup->vehicles.front().dictionary.vehicle;
        const std::string id = make_recording_id(output_directory, info.utc_start_ns, vehicle);
        const std::filesystem::path path = output_directory / (id + std::string(kRecordingEnding));
        Pipeline pipeline(*setup, info.t_start_ns);
        const RecordingHead head{
            .t_start_ns = info.t_start_ns, .utc_start_ns = info.utc_start_ns, .name = info.name, .continues = ""};
        create_recording(path, texts_of(*setup), pipeline.schema(), head, false);
        Unfinished unfinished(path);
        {
            RecordingFile output(path, pipeline.schema(), false);
            output.set_meta("notes", info.notes);
            output.set_meta("reprocessed_from", info.id);
            std::size_t waiting_bytes = 0;
            feed_stored_inputs(*reader, pipeline, info.t_end_ns, [&](const Batch& batch) {
                output.append(batch);
                waiting_bytes += batch.bytes.size() + batch.numbers.size() * sizeof(double);
                if (waiting_bytes >= kCommitBytes) {
                    output.commit();
                    waiting_bytes = 0;
                }
            });
            output.close("clean");
        }
        unfinished.keep();
        make_single_file(path);
        if (!reader->damage().empty()) {
            return fail(file.string() + ": is damaged (" + reader->damage() + "); what could be read is in " +
                        path.string());
        }
        return path;
    } catch (const std::exception& failure) {
        return fail("reprocessing " + file.string() + ": " + failure.what());
    }
}

} // namespace turnstone
