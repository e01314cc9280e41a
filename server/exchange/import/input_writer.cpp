#include "server/exchange/import/input_writer.hpp"

#include <exception>

#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/unfinished.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

constexpr std::int64_t kSilence_ns = 10 * kNsPerS; ///< what a long one makes does not pile up
constexpr std::size_t kCommitBytes = 8U << 20U;

} // namespace

void InputWriter::chunk(LinkId link, std::int64_t t_ns, std::int64_t utc_ns, std::span<const std::byte> bytes,
                        bool carried) {
    counter_.chunk(link, t_ns, utc_ns, bytes, inputs_, carried);
    feed(t_ns);
}

void InputWriter::action(std::int64_t t_ns, const Action& action) {
    counter_.action(t_ns, action, inputs_);
    feed(t_ns);
}

void InputWriter::advance(std::int64_t t_ns) {
    for (std::int64_t next_ns = pipeline_.progress().t_ns + kSilence_ns; next_ns < t_ns; next_ns += kSilence_ns)
        step(next_ns);
    step(t_ns);
}

void InputWriter::feed(std::int64_t t_ns) {
    if (t_ns - pipeline_.progress().t_ns > kSilence_ns) advance(t_ns);
    file_.append(inputs_);
    batch_.clear();
    pipeline_.take(inputs_, batch_);
    inputs_.clear();
    append();
}

void InputWriter::step(std::int64_t t_ns) {
    batch_.clear();
    pipeline_.advance(t_ns, batch_);
    append();
}

void InputWriter::append() {
    file_.append(batch_, pipeline_.progress());
    waiting_bytes_ += batch_.numbers.size() * sizeof(double) + 64;
    if (waiting_bytes_ < kCommitBytes) return;
    file_.commit();
    waiting_bytes_ = 0;
}

Result<void> whole(RecordingReader& recording) {
    if (recording.damage().empty()) return {};
    return fail(recording.info().path.string() + ": is damaged: " + recording.damage() +
                "; make a recording of what is whole first: turnstone reprocess");
}

Result<std::filesystem::path> make_recording(const NewRecording& about,
                                             const std::function<Result<void>(InputWriter&)>& write) {
    try {
        const Unfinished unfinished(about.folder, about.working_name);
        {
            Pipeline pipeline(about.setup, about.t_start_ns);
            create_recording(unfinished.path(), texts_of(about.setup), pipeline.schema(),
                             {.t_start_ns = about.t_start_ns,
                              .utc_start_ns = about.utc_start_ns,
                              .name = about.name,
                              .continues = ""},
                             false);
            RecordingFile file(unfinished.path(), pipeline.schema(), false);
            file.set_meta("notes", about.notes);
            for (const auto& [key, value] : about.facts) file.set_meta(key, value);
            InputWriter writer(pipeline, file, about.setup.links.size(), about.t_start_ns);
            if (auto written = write(writer); !written) return tl::unexpected(written.error());
            file.close("clean");
        }
        return unfinished.publish(about.utc_start_ns, about.setup.vehicles.front().dictionary.vehicle);
    } catch (const std::exception& failure) {
        return fail("importing into " + about.folder.string() + ": " + failure.what());
    }
}

} // namespace turnstone::exchange
