#include "server/exchange/import/merge.hpp"

#include <algorithm>
#include <exception>
#include <fstream>
#include <limits>
#include <span>
#include <stdexcept>

#include <fmt/format.h>

#include "server/pipeline/station/pipeline.hpp"
#include "server/record/unfinished.hpp"
#include "server/record/write/recording_file.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

constexpr std::int64_t kPiece_ns = 20 * kNsPerMs; ///< about what a radio hands over at once
constexpr std::size_t kPieceBytes = 64U << 10U;
constexpr std::int64_t kSilence_ns = 10 * kNsPerS; ///< what a long one makes does not pile up
constexpr std::size_t kCommitBytes = 8U << 20U;
constexpr std::size_t kNotesMost = 200;

struct Stopped {};

/// The log's octets in pieces, each with the time of the last packet in it.
class LogPieces {
  public:
    LogPieces(const MergePlan& plan) : plan_(plan), file_(plan.log_file, std::ios::binary) { plan_next(); }

    [[nodiscard]] bool any() const noexcept { return from_ < end_; }
    [[nodiscard]] std::int64_t t_ns() const noexcept { return t_ns_; }
    /// Valid until the next call.
    [[nodiscard]] std::span<const std::byte> take() {
        const auto size = static_cast<std::size_t>(std::min<std::uint64_t>(end_ - from_, kPieceBytes));
        bytes_.resize(size);
        if (!file_.read(reinterpret_cast<char*>(bytes_.data()), static_cast<std::streamsize>(size))) // NOLINT
            throw std::runtime_error(plan_.log_file.string() + " changed while it was read");
        from_ += size;
        if (from_ == end_) plan_next();
        return bytes_;
    }

  private:
    void plan_next() {
        const auto& packets = plan_.log.packets;
        if (next_ == packets.size()) {
            end_ = plan_.log.bytes; // what stands behind the last packet comes with it
            return;
        }
        const std::int64_t first_ns = plan_.times.t_ns[next_];
        do {
            end_ = packets[next_].end;
            t_ns_ = plan_.times.t_ns[next_];
            ++next_;
        } while (next_ < packets.size() && plan_.times.t_ns[next_] - first_ns < kPiece_ns &&
                 packets[next_].end - from_ <= kPieceBytes);
    }

    const MergePlan& plan_;
    std::ifstream file_;
    std::vector<std::byte> bytes_;
    std::size_t next_ = 0; ///< packet
    std::uint64_t from_ = 0, end_ = 0;
    std::int64_t t_ns_ = 0;
};

/// Inputs one at a time through the pipeline into the file.
class Writer {
  public:
    Writer(Pipeline& pipeline, RecordingFile& file, std::size_t links, std::int64_t t_start_ns)
        : pipeline_(pipeline), file_(file), counter_(links, t_start_ns) {}

    void chunk(LinkId link, std::int64_t t_ns, std::int64_t utc_ns, std::span<const std::byte> bytes, bool carried) {
        counter_.chunk(link, t_ns, utc_ns, bytes, inputs_, carried);
        feed(t_ns);
    }
    void action(std::int64_t t_ns, const Action& action) {
        counter_.action(t_ns, action, inputs_);
        feed(t_ns);
    }
    void advance(std::int64_t t_ns) {
        for (std::int64_t next_ns = pipeline_.progress().t_ns + kSilence_ns; next_ns < t_ns; next_ns += kSilence_ns)
            step(next_ns);
        step(t_ns);
    }

  private:
    void feed(std::int64_t t_ns) {
        if (t_ns - pipeline_.progress().t_ns > kSilence_ns) advance(t_ns);
        file_.append(inputs_);
        batch_.clear();
        pipeline_.take(inputs_, batch_);
        inputs_.clear();
        append();
    }
    void step(std::int64_t t_ns) {
        batch_.clear();
        pipeline_.advance(t_ns, batch_);
        append();
    }
    void append() {
        file_.append(batch_, pipeline_.progress());
        waiting_bytes_ += batch_.numbers.size() * sizeof(double) + 64;
        if (waiting_bytes_ < kCommitBytes) return;
        file_.commit();
        waiting_bytes_ = 0;
    }

    Pipeline& pipeline_;
    RecordingFile& file_;
    InputCounter counter_;
    Inputs inputs_;
    Batch batch_;
    std::size_t waiting_bytes_ = 0;
};

/// The two in one order.
class Merging {
  public:
    Merging(const MergePlan& plan, Writer& writer, std::int64_t utc_offset_ns)
        : plan_(plan), writer_(writer), log_(plan), link_(static_cast<LinkId>(plan.setup.links.size() - 1)),
          utc_offset_ns_(utc_offset_ns) {}

    void chunk(const ChunkRecord& chunk, std::span<const std::byte> bytes) {
        catch_up(chunk.t_rx_ns);
        utc_offset_ns_ = chunk.utc_rx_ns - chunk.t_rx_ns;
        writer_.chunk(chunk.link, chunk.t_rx_ns, chunk.utc_rx_ns, bytes, chunk.carried);
    }
    void action(const ActionRecord& action) {
        catch_up(action.t_ns);
        writer_.action(action.t_ns, action.action);
    }
    void finish() { catch_up(std::numeric_limits<std::int64_t>::max()); }

  private:
    /// What the log made up to then.
    void catch_up(std::int64_t t_ns) {
        if (!opened_ && log_.any() && log_.t_ns() <= t_ns) {
            opened_ = true;
            writer_.action(log_.t_ns(), LinkReport{plan_.setup.links.back().name, LinkState::open, ""});
        }
        while (log_.any() && log_.t_ns() <= t_ns) {
            const std::int64_t piece_ns = log_.t_ns();
            note_gaps(piece_ns);
            writer_.chunk(link_, piece_ns, piece_ns + utc_offset_ns_, log_.take(), false);
            if (!log_.any())
                writer_.action(piece_ns, LinkReport{plan_.setup.links.back().name, LinkState::end_of_file, ""});
        }
        note_gaps(t_ns);
    }
    void note_gaps(std::int64_t t_ns) {
        for (; noted_ < std::min(plan_.gaps.size(), kNotesMost) && plan_.gaps[noted_].to_ns <= t_ns; ++noted_) {
            const Gap& gap = plan_.gaps[noted_];
            writer_.action(gap.to_ns, Note{fmt::format("Radio gap of {:.1f} s filled from the on-board log: {} packets",
                                                       seconds_between(gap.from_ns, gap.to_ns), gap.packets),
                                           gap.from_ns});
        }
    }

    const MergePlan& plan_;
    Writer& writer_;
    LogPieces log_;
    LinkId link_;
    std::int64_t utc_offset_ns_;
    std::size_t noted_ = 0;
    bool opened_ = false;
};

void feed_both(RecordingReader& recording, const RecordingInfo& info, Merging& merging,
               const debrief::Advance& advance) {
    const double inputs = std::max(static_cast<double>(info.inputs), 1.0);
    const auto go_on = [&](std::uint64_t input) {
        if (!advance(static_cast<double>(input) / inputs)) throw Stopped{};
    };
    recording.inputs(
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            go_on(chunk.input);
            merging.chunk(chunk, bytes);
        },
        [&](const ActionRecord& action) {
            go_on(action.input);
            merging.action(action);
        });
    merging.finish();
}

} // namespace

Result<std::filesystem::path> write_merged(RecordingReader& recording, const MergePlan& plan,
                                           const std::filesystem::path& folder, const debrief::Advance& advance) {
    const RecordingInfo info = recording.info();
    try {
        const std::int64_t t_start_ns = std::min(info.t_start_ns, plan.times.t_ns.front());
        const std::int64_t utc_start_ns = info.utc_start_ns - (info.t_start_ns - t_start_ns);
        const Unfinished unfinished(folder, info.id + "-with-log");
        {
            Pipeline pipeline(plan.setup, t_start_ns);
            create_recording(
                unfinished.path(), texts_of(plan.setup), pipeline.schema(),
                {.t_start_ns = t_start_ns, .utc_start_ns = utc_start_ns, .name = plan.name, .continues = ""}, false);
            RecordingFile file(unfinished.path(), pipeline.schema(), false);
            file.set_meta("notes", plan.notes);
            for (const auto& [key, value] : plan.facts) file.set_meta(key, value);
            Writer writer(pipeline, file, plan.setup.links.size(), t_start_ns);
            Merging merging(plan, writer, info.utc_start_ns - info.t_start_ns);
            feed_both(recording, info, merging, advance);
            writer.advance(std::max(info.t_end_ns, plan.times.t_ns.back()));
            if (!recording.damage().empty())
                return fail(info.path.string() + ": is damaged: " + recording.damage() +
                            "; make a recording of what is whole first: turnstone reprocess");
            file.close("clean");
        }
        const std::string vehicle = plan.setup.vehicles.front().dictionary.vehicle;
        return unfinished.publish(utc_start_ns, vehicle);
    } catch (const Stopped&) {
        return debrief::stopped();
    } catch (const std::exception& failure) {
        return fail("importing into " + folder.string() + ": " + failure.what());
    }
}

} // namespace turnstone::exchange
