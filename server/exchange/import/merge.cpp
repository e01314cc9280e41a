#include "server/exchange/import/merge.hpp"

#include <algorithm>
#include <fstream>
#include <limits>
#include <span>
#include <stdexcept>

#include <fmt/format.h>

#include "server/exchange/import/input_writer.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

constexpr std::int64_t kPiece_ns = 20 * kNsPerMs; ///< about what a radio hands over at once
constexpr std::size_t kPieceBytes = 64U << 10U;
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

/// The two in one order.
class Merging {
  public:
    Merging(const MergePlan& plan, InputWriter& writer, std::int64_t utc_offset_ns)
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
    InputWriter& writer_;
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
    const std::int64_t t_start_ns = std::min(info.t_start_ns, plan.times.t_ns.front());
    return make_recording({.setup = plan.setup,
                           .folder = folder,
                           .working_name = info.id + "-with-log",
                           .t_start_ns = t_start_ns,
                           .utc_start_ns = info.utc_start_ns - (info.t_start_ns - t_start_ns),
                           .name = plan.name,
                           .notes = plan.notes,
                           .facts = plan.facts},
                          [&](InputWriter& writer) -> Result<void> {
                              Merging merging(plan, writer, info.utc_start_ns - info.t_start_ns);
                              try {
                                  feed_both(recording, info, merging, advance);
                              } catch (const Stopped&) {
                                  return debrief::stopped();
                              }
                              writer.advance(std::max(info.t_end_ns, plan.times.t_ns.back()));
                              return whole(recording);
                          });
}

} // namespace turnstone::exchange
