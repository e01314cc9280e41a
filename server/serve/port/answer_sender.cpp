#include "server/serve/port/answer_sender.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <utility>

#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/this_coro.hpp>
#include <boost/asio/write.hpp>

#include "server/serve/http/on_worker.hpp"
#include "server/serve/http/recordings/downloads.hpp"
#include "server/serve/port/no_throw.hpp"

namespace turnstone {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
using asio::awaitable;

constexpr std::chrono::seconds kSendTime{30}; // per answer, and per piece of a download
constexpr std::chrono::milliseconds kBusyPause{200};
constexpr std::size_t kDownloadPieceBytes = 256u << 10;
constexpr std::size_t kDrainBytesMax = 1u << 20;

} // namespace

awaitable<bool> AnswerSender::send(beast::tcp_stream& stream, Answer& answer, const Request& request, bool keep_alive) {
    const bool open = co_await send_all(stream, answer, request, keep_alive);
    co_await let_go(answer.file, request.client);
    co_return open;
}

awaitable<void> AnswerSender::let_go(std::shared_ptr<FileBody>& file, const Client& client) {
    if (!file) co_return;
    const auto last = std::make_shared<std::shared_ptr<FileBody>>(std::move(file));
    const WorkerTask drop = [last](ReaderCache&) {
        last->reset();
        return Answer();
    };
    co_await on_worker(workers_, Lane::stored, client, drop); // not behind a copy that lasts for seconds
}

awaitable<bool> AnswerSender::send_all(beast::tcp_stream& stream, Answer& answer, const Request& request,
                                       bool keep_alive) {
    ++counters_.http_answers[std::min<std::size_t>(answer.status / 100, 5)];
    const std::string header = answer_header(answer, request.host, keep_alive);
    const bool with_body = request.method != Method::head && answer.status != 304;
    const bool from_file = with_body && answer.file != nullptr;
    std::array<asio::const_buffer, 2> buffers{asio::buffer(header), asio::const_buffer{}};
    if (with_body && !from_file)
        buffers[1] = answer.stored.empty() ? asio::buffer(answer.body)
                                           : asio::buffer(answer.stored.data(), answer.stored.size());
    stream.expires_after(kSendTime);
    const auto [error, sent] = co_await asio::async_write(stream, buffers, kNoThrow);
    if (error) co_return false;
    if (from_file && !co_await send_file(stream, answer.file, request.client)) co_return false;
    co_return keep_alive;
}

awaitable<Answer> AnswerSender::read_piece(std::shared_ptr<FileBody> file, std::uint64_t at, std::size_t size,
                                           const Client& client) {
    const WorkerTask read = [file = std::move(file), at, size](ReaderCache&) {
        Answer piece;
        piece.body.resize(size);
        if (!file->read(at, piece.body)) piece.body.clear();
        return piece;
    };
    co_return co_await on_worker(workers_, Lane::stored, client, read);
}

awaitable<bool> AnswerSender::send_file(beast::tcp_stream& stream, std::shared_ptr<FileBody>& file,
                                        const Client& client) {
    const auto begun = std::chrono::steady_clock::now();
    const auto executor = co_await asio::this_coro::executor;
    asio::steady_timer pause(executor);
    const std::uint64_t total = file->size();
    for (std::uint64_t at = 0; at < total;) {
        const auto size = static_cast<std::size_t>(std::min<std::uint64_t>(kDownloadPieceBytes, total - at));
        const Answer piece = co_await read_piece(file, at, size, client);
        if (piece.status != 200) { // too many reads at this moment
            pause.expires_after(kBusyPause);
            co_await pause.async_wait(kNoThrow);
            if (is_too_slow(at, std::chrono::steady_clock::now() - begun)) co_return false;
            continue;
        }
        // The length is promised already, so cutting the connection tells the truth.
        if (piece.body.empty()) co_return false;
        at += size;
        if (at == total) co_await let_go(file, client); // who has the last octet may ask for the next file at once
        stream.expires_after(kSendTime);
        const auto [error, sent] = co_await asio::async_write(stream, asio::buffer(piece.body), kNoThrow);
        if (error || is_too_slow(at, std::chrono::steady_clock::now() - begun)) co_return false;
    }
    co_return true;
}

awaitable<void> hang_up(beast::tcp_stream& stream) {
    beast::error_code ignored; // already gone is as good
    stream.socket().shutdown(asio::ip::tcp::socket::shutdown_send, ignored);
    stream.expires_after(std::chrono::seconds(2));
    std::array<char, 8192> rest;
    for (std::size_t total = 0; total < kDrainBytesMax;) {
        const auto [error, size] = co_await stream.async_read_some(asio::buffer(rest), kNoThrow);
        if (error) co_return;
        total += size;
    }
}

} // namespace turnstone
