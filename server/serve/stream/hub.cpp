#include "server/serve/stream/hub.hpp"

#include <algorithm>

#include <boost/asio/post.hpp>
#include <spdlog/spdlog.h>

namespace turnstone {
namespace {

constexpr std::chrono::milliseconds kClockPeriod{250};
constexpr unsigned kClockTicksPerStatus = 4;
/// Flushes come every 10 ms: the serve thread has stood still for twenty seconds when this many wait.
constexpr std::size_t kInboxMax = 2000;

std::string joined_names(const PipelineSetup& setup) {
    std::string out;
    for (const VehicleSetup& vehicle : setup.vehicles) out += (out.empty() ? "" : ",") + vehicle.dictionary.vehicle;
    return out;
}

} // namespace

Hub::Hub(boost::asio::io_context& context, const ServeSettings& settings, const ServeSources& sources,
         const OperatorActions& actions, Workers& workers)
    : context_(context), settings_(settings), sources_(sources), actions_(actions), workers_(workers),
      server_id_(random_key()), clock_(context) {}

void Hub::begin(LiveTape tape) {
    workers_.release_readers();
    bool was_empty = false;
    {
        const std::lock_guard lock(inbox_mutex_);
        was_empty = inbox_.empty();
        inbox_.emplace_back(std::move(tape));
        overflow_ = {}; // of the tape before: nobody looks at its head any more
    }
    if (was_empty) boost::asio::post(context_, [this] { take_inbox(); });
}

void Hub::publish(std::shared_ptr<const Batch> batch) {
    if (batch->rows.empty() && batch->events.empty()) return;
    bool was_empty = false;
    {
        const std::lock_guard lock(inbox_mutex_);
        was_empty = inbox_.empty();
        if (inbox_.size() < kInboxMax) {
            inbox_.emplace_back(std::move(batch));
        } else {
            // Rows can be had again from the recording; events are kept whatever happens.
            for (const RowRecord& row : batch->rows) {
                if (overflow_.from_ns == 0) overflow_.from_ns = overflow_.to_ns = row.t_ns;
                overflow_.from_ns = std::min(overflow_.from_ns, row.t_ns);
                overflow_.to_ns = std::max(overflow_.to_ns, row.t_ns);
            }
            overflow_.batches += batch->rows.empty() ? 0 : 1;
            if (!batch->events.empty()) {
                auto events = std::make_shared<Batch>();
                events->events = batch->events;
                inbox_.emplace_back(std::shared_ptr<const Batch>(std::move(events)));
            }
        }
    }
    if (was_empty) boost::asio::post(context_, [this] { take_inbox(); });
}

void Hub::take_inbox() {
    decltype(inbox_) items;
    Overflow overflow;
    {
        const std::lock_guard lock(inbox_mutex_);
        items.swap(inbox_);
        std::swap(overflow, overflow_);
    }
    for (auto& item : items)
        if (auto* tape = std::get_if<LiveTape>(&item))
            take_tape(std::move(*tape));
        else
            take_batch(*std::get<std::shared_ptr<const Batch>>(item));
    if (overflow.batches > 0 && tape_) {
        counters_.batches_dropped += overflow.batches;
        spdlog::warn("the serve thread stood still; {} updates reach viewers through the recording only",
                     overflow.batches);
        const Gap gap{seq_, seq_ + overflow.batches - 1, tape_seconds(overflow.from_ns, tape_->t_start_ns),
                      tape_seconds(overflow.to_ns, tape_->t_start_ns)};
        seq_ += overflow.batches;
        take_gap(gap);
    }
}

void Hub::take_tape(LiveTape tape) {
    tape_ = std::move(tape);
    live_notes_.clear();
    seq_ = 0;
    newest_ns_ = tape_->t_start_ns;
    latest_.assign(tape_->schema->tables.size(), std::nullopt);
    hello_ = {};
    newest_ = nullptr;
    for (const auto& viewer : viewers_) {
        if (!viewer->follows_live()) continue;
        viewer->forget_gap();
        send_hello(*viewer);
    }
}

void Hub::take_batch(const Batch& batch) {
    if (!tape_) {
        spdlog::error("a batch came before a recording was begun; it is not shown");
        return;
    }
    std::vector<WireMessage> events;
    events.reserve(batch.events.size());
    for (const Event& event : batch.events)
        events.push_back(frame_message(Opcode::text, event_text(event, tape_->t_start_ns)));

    BlockMessage block;
    std::uint64_t seq = 0;
    if (!batch.rows.empty()) {
        seq = seq_++;
        block = encoder_.rows(batch, *tape_->schema, tape_->t_start_ns, seq, {});
        ++counters_.blocks_made;
        for (const RowRecord& row : batch.rows) {
            auto& newest = latest_[row.table];
            if (newest && newest->first > row.t_ns) continue;
            const auto numbers = batch.numbers_of(row, tape_->schema->tables[row.table]);
            if (!newest) newest.emplace();
            newest->first = row.t_ns;
            newest->second.assign(numbers.begin(), numbers.end());
            newest_ns_ = std::max(newest_ns_, row.t_ns);
        }
        hello_ = {};
        newest_ = nullptr;
    }
    for (const auto& viewer : viewers_) {
        if (!viewer->follows_live()) continue;
        for (const WireMessage& event : events) viewer->send(event);
        if (block.wire) viewer->send_block(block.wire, seq, block.from_t_s, block.to_t_s);
    }
}

void Hub::take_gap(const Gap& gap) {
    for (const auto& viewer : viewers_)
        if (viewer->follows_live()) viewer->note_gap(gap);
}

WireMessage Hub::newest_rows() {
    if (!newest_) newest_ = encoder_.newest(latest_, tape_->t_start_ns, seq_ == 0 ? 0 : seq_ - 1);
    return newest_;
}

RecordingInfo Hub::live_info() const {
    RecordingInfo info;
    info.id = tape_->id;
    info.name = tape_->name;
    info.notes = live_notes_;
    info.vehicles = joined_names(*tape_->setup);
    info.version = TURNSTONE_VERSION;
    info.t_start_ns = tape_->t_start_ns;
    info.utc_start_ns = tape_->utc_start_ns;
    info.t_end_ns = newest_ns_;
    info.file_bytes = sources_.recorder().file_bytes;
    return info;
}

void Hub::send_hello(Viewer& viewer) {
    if (!tape_) return; // it comes with the tape
    WireMessage& hello = hello_[viewer.is_operator() ? 1 : 0];
    if (!hello)
        hello =
            frame_message(Opcode::text, hello_text({viewer.is_operator(), false, server_id_},
                                                   description_json(live_info(), true, *tape_->schema, *tape_->setup),
                                                   latest_json(latest_, tape_->t_start_ns)));
    viewer.send(hello);
}

void Hub::set_live_meta(const std::string& key, const std::string& value) {
    if (tape_) (key == "name" ? tape_->name : live_notes_) = value;
    hello_ = {};
    actions_.set_live_meta(key, value);
}

void Hub::add(std::shared_ptr<Viewer> viewer) {
    ++counters_.viewers_accepted;
    viewers_.insert(viewer);
    send_hello(*viewer);
    if (stopping_) viewer->close(CloseCode::going_away, "the server is shutting down");
}

void Hub::remove(std::shared_ptr<Viewer> viewer) {
    // Later, because viewers drop out while the set is being walked.
    boost::asio::post(context_, [this, viewer = std::move(viewer)] { viewers_.erase(viewer); });
}

void Hub::start() {
    run_clock();
}

void Hub::stop() {
    stopping_ = true;
    for (const auto& viewer : viewers_) viewer->close(CloseCode::going_away, "the server is shutting down");
}

void Hub::run_clock() {
    clock_.expires_after(kClockPeriod);
    clock_.async_wait([this](const boost::system::error_code& error) {
        if (error) return;
        const auto now = Viewer::Clock::now();
        for (const auto& viewer : viewers_) viewer->tick(now);
        if (!stopping_ && ++clock_ticks_ % kClockTicksPerStatus == 0) send_status();
        run_clock();
    });
}

void Hub::send_status() {
    if (viewers_.empty()) return;
    const std::int64_t now_ns = sources_.station_now_ns();
    const auto utc_ns =
        std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::system_clock::now().time_since_epoch())
            .count();
    const auto t_start_ns = tape_ ? std::optional(tape_->t_start_ns) : std::nullopt;
    const WireMessage status = frame_message(
        Opcode::text, status_text(sources_.links(), sources_.recorder(), viewers_.size(), now_ns, utc_ns, t_start_ns));
    for (const auto& viewer : viewers_) viewer->send_status(status);
}

} // namespace turnstone
