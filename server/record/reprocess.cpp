#include "server/record/reprocess.hpp"

#include <map>
#include <optional>
#include <system_error>
#include <utility>

#include "server/record/read/catalogue.hpp"
#include "server/record/stored_inputs.hpp"
#include "server/record/unfinished.hpp"
#include "server/record/write/recording_file.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kCommitBytes = 8u << 20;

/// What was fed, and whether some is missing in between.
struct Fed {
    std::uint64_t inputs = 0, bytes = 0;
    std::uint64_t missing = 0; ///< by their numbers; those at the end cannot be known
    std::string damage;        ///< empty: none
};

enum class Numbering { as_stored, from_one };

/// Writes what this version's pipeline makes of the inputs of `from` to `path`. `head` and `facts` (keys of meta) are
/// the new file's. Numbered from one, inputs and each link's stream have no gaps where `from` has.
Fed write_again(RecordingReader& from, const PipelineSetup& setup, const std::filesystem::path& path,
                const RecordingHead& head, const std::map<std::string, std::string>& facts, Numbering numbering) {
    const RecordingInfo info = from.info();
    Pipeline pipeline(setup, info.t_start_ns);
    create_recording(path, texts_of(setup), pipeline.schema(), head, false);
    RecordingFile output(path, pipeline.schema(), false);
    for (const auto& [key, value] : facts) output.set_meta(key, value);
    Fed fed;
    std::uint64_t next_stored = 0;
    std::vector<std::uint64_t> stream_bytes(setup.links.size());
    const auto count = [&](std::uint64_t& input) {
        fed.missing += input - next_stored;
        next_stored = input + 1;
        if (numbering == Numbering::from_one) input = fed.inputs;
        ++fed.inputs;
    };
    std::size_t waiting_bytes = 0;
    fed.damage = feed_stored_inputs(
        from, kAllInputs, pipeline, info.t_end_ns,
        [&](Inputs& input) {
            for (ActionRecord& action : input.actions) count(action.input);
            for (ChunkRecord& chunk : input.chunks) {
                count(chunk.input);
                std::uint64_t& offset = stream_bytes[chunk.link];
                if (numbering == Numbering::from_one) chunk.stream_offset = offset;
                offset += chunk.bytes.size;
                fed.bytes += chunk.bytes.size;
            }
            output.append(input);
        },
        [&](const Batch& batch) {
            output.append(batch, pipeline.progress());
            waiting_bytes += batch.numbers.size() * sizeof(double);
            if (waiting_bytes < kCommitBytes) return;
            output.commit();
            waiting_bytes = 0;
        });
    output.close("clean");
    if (!from.damage().empty()) fed.damage = from.damage();
    return fed;
}

} // namespace

Result<std::filesystem::path> reprocess(const std::filesystem::path& file, std::vector<VehicleSetup> vehicles,
                                        const std::filesystem::path& output_directory) {
    auto reader = RecordingReader::open(file, ReadMode::as_far_as_it_goes);
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
        const Unfinished unfinished(output_directory, info.id);
        const Fed fed = write_again(
            *reader, *setup, unfinished.path(),
            {.t_start_ns = info.t_start_ns, .utc_start_ns = info.utc_start_ns, .name = info.name, .continues = ""},
            {{"notes", info.notes}, {"reprocessed_from", info.id}}, Numbering::from_one);
        const std::string vehicle = setup->vehicles.empty() ? "" : setup->vehicles.front().dictionary.vehicle;
        const std::filesystem::path path = unfinished.publish(info.utc_start_ns, vehicle);
        if (!fed.damage.empty())
            return fail(file.string() + ": is damaged: " + fed.damage + ". The " + std::to_string(fed.inputs) +
                        " inputs that could be read, with " + std::to_string(fed.bytes) + " received bytes, are in " +
                        path.string() +
                        (fed.missing == 0 ? "" : "; between them " + std::to_string(fed.missing) + " are missing"));
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
    try {
        const Unfinished unfinished(file.parent_path(), info.id);
        const Fed fed = write_again(
            *reader, *setup, unfinished.path(),
            {.t_start_ns = info.t_start_ns, .utc_start_ns = info.utc_start_ns, .name = info.name, .continues = ""},
            {{"notes", info.notes},
             {"inputs_dropped", std::to_string(info.inputs_dropped)},
             {"bytes_dropped", std::to_string(info.bytes_dropped)}},
            Numbering::as_stored);
        if (!fed.damage.empty()) return fail(file.string() + ": is damaged: " + fed.damage);
        unfinished.close_as_one_file();
        reader = fail("");
        std::filesystem::rename(unfinished.path(), file);
        return {};
    } catch (const std::exception& failure) {
        return fail("making the rows of " + file.string() + " again: " + failure.what());
    }
}

} // namespace turnstone
